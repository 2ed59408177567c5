"""Open recordings of activities in ../shared/data, as features of windows with what is known of them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.spatial.transform import Rotation

from bodyfit.core.gravity import STANDARD_GRAVITY
from bodyfit.movement.activities.unit.features import HOP_S, Features, features_of
from bodyfit.movement.activities.unit.samples import FREQUENCY, Samples, samples_of
from bodyfit.movement.activities.unit.upright import directions, up_of, without_bias
from bodyfit.movement.activities.unit.walking_frame import frame_of, walking_frame
from bodyfit.recording.capture import Unit

DATA = Path(__file__).resolve().parents[2] / "shared" / "data"
STAIRS = ("standing", "walking", "stairs_up", "walking", "stairs_down", "walking", "standing")
CHAIR = ("standing", "stand_to_sit", "sitting", "sit_to_stand", "standing")
BEND = ("standing", "other", "standing")
ORDERS = {
    "D01": ("walking",), "D02": ("walking",), "D05": STAIRS, "D06": STAIRS, "D07": CHAIR, "D08": CHAIR,
    "D09": CHAIR, "D12": ("sitting", "sit_to_lie", "lying", "lie_to_sit", "sitting"),
    "D15": BEND, "D16": BEND,
    "STD": ("standing",), "WAL": ("walking",), "JOG": ("running",), "JUM": ("other",),
    "STU": ("stairs_up",), "STN": ("stairs_down",), "SCH": ("standing", "stand_to_sit", "sitting"),
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Recording:
    """One recording: whose, features, order of activities, labels where they are known throughout."""

    name: str
    person: str
    code: str
    features: Features
    order: tuple[str, ...]
    labels: np.ndarray | None = None
    samples: Samples | None = None
    frame: np.ndarray | None = None

    def start(self) -> np.ndarray:
        """First labels: what moves most are the changes, in their order; "" where nothing is said."""
        if self.labels is not None:
            return self.labels
        X, n = self.features, len(self.features.time)
        y = np.full(n, "", dtype=object)
        if self.code in ("D05", "D06"):
            return _stairs(y, np.exp(X.column("sd_v")))
        if len(self.order) == 1:
            y[:] = self.order[0]
            return y
        pitch = 2 * np.exp(X.column("w1_p")) if "w1_p" in X.names else 3 * X.column("turn1")
        moves = np.convolve(
            np.exp(X.column("sd1_v")) + np.exp(X.column("sd1_f")) + pitch, np.ones(10) / 10, "same"
        )
        if len(self.order) == 5:
            return _two(y, moves, self.order)
        i = 3 + int(np.argmax(moves[3:-3]))
        y[: max(i - 7, 1)], y[max(i - 7, 1) : i + 8], y[i + 8 :] = self.order
        return y


def _stairs(y: np.ndarray, sway: np.ndarray) -> np.ndarray:
    moving = np.flatnonzero(sway > 0.6)
    if len(moving):
        a, b = moving[0], moving[-1]
        c = (a + b) // 2
        y[: max(a - 4, 0)] = y[b + 4 :] = "standing"
        y[a + 6 : c - 6], y[c + 6 : b - 6] = "stairs_up", "stairs_down"
    return y


def _two(y: np.ndarray, moves: np.ndarray, order: tuple[str, ...]) -> np.ndarray:
    n = len(y)
    pairs = [(moves[i] + moves[i + 12 : n - 2].max(), i) for i in range(2, n - 14)]
    i = max(pairs)[1]
    j = i + 12 + int(np.argmax(moves[i + 12 : n - 2]))
    first = max(i - 5, 1)
    y[:first], y[first : i + 6], y[i + 6 : j - 5], y[j - 5 : j + 6], y[j + 6 :] = order
    return y


def unit_of(path: Path, gyroscope: bool = True) -> Unit:
    """The unit of a table with t, acc_x … gyr_z."""
    table = pd.read_parquet(path)
    rate = table[["gyr_x", "gyr_y", "gyr_z"]].to_numpy(float) if gyroscope and "gyr_x" in table else None
    return Unit(
        path.stem, None, table["t"].to_numpy(float), table[["acc_x", "acc_y", "acc_z"]].to_numpy(float), rate
    )


def _features(samples: Samples, frame: np.ndarray) -> Features:
    up = up_of(samples.force, samples.rate)
    return features_of(samples.time, samples.force, samples.rate, up, frame)


def _without_bias(samples: Samples) -> Samples:
    rate = None if samples.rate is None else without_bias(samples.force, samples.rate)
    return Samples(samples.time, samples.force, rate, samples.known)


def mean_frame(frames: list[np.ndarray]) -> np.ndarray:
    """One frame from several of the same wearing."""
    return frame_of(np.mean([f[2] for f in frames], 0), np.mean([f[0] for f in frames], 0))


def waist_young_old(gyroscope: bool = True) -> list[Recording]:
    """Waist unit, young and old people; the frame of a person from both walking files."""
    folder = DATA / "activity_waist_young_old"
    rows = list(pd.read_csv(folder / "recordings.csv").itertuples())
    samples = {r.recording: samples_of(unit_of(folder / f"{r.recording}.parquet", gyroscope)) for r in rows}
    frames: dict[str, list[np.ndarray]] = {}
    for r in rows:
        if r.code in ("D01", "D02"):
            s = samples[r.recording]
            frame = walking_frame(s.force, up_of(s.force, s.rate))
            if frame is not None:
                frames.setdefault(r.subject, []).append(frame)
    out = []
    for r in rows:
        s, frame = samples[r.recording], mean_frame(frames[r.subject])
        out.append(
            Recording(r.recording, r.subject, r.code, _features(s, frame), ORDERS[r.code], None, s, frame)
        )
    return out


def pocket(gyroscope: bool = True) -> list[Recording]:
    """Phone in a trouser pocket; the frame from the person's walking file."""
    folder = DATA / "activity_pocket_phone"
    rows = list(pd.read_csv(folder / "recordings.csv").itertuples())
    frames, out = {}, []
    for r in rows:
        s = _without_bias(samples_of(unit_of(folder / f"{r.recording}.parquet", gyroscope)))
        own = walking_frame(s.force, up_of(s.force, s.rate))
        if r.code == "WAL":
            frames[r.subject] = own
        out.append((r, s, own))
    return [
        Recording(
            r.recording,
            f"p{r.subject}",
            r.code,
            _features(s, frames[r.subject]),
            ORDERS[r.code],
            None,
            s,
            frames[r.subject],
        )
        for r, s, own in out
    ]


def waist_phone(gyroscope: bool = True) -> list[tuple[Recording, pd.DataFrame]]:
    """Waist phone with labels from video; for measuring only, its owner forbids commercial use."""
    out = []
    for path in sorted((DATA / "activity_waist_phone").glob("*/waist.parquet")):
        s = samples_of(unit_of(path, gyroscope))
        if gyroscope:
            s = _without_bias(s)
        frame = walking_frame(s.force, up_of(s.force, s.rate))
        marks = pd.read_csv(path.with_name("labels.csv"))
        features = _features(s, frame)
        y = np.full(len(features.time), "", dtype=object)
        for a, b, name in marks.itertuples(index=False):
            y[(features.time >= a) & (features.time < b)] = name
        out.append((Recording(path.parent.name, path.parent.name[:6], "", features, (), y, s, frame), marks))
    return out


def spliced(recordings: list[Recording], labels: list[np.ndarray]) -> list[Recording]:
    """Lying down from standing and getting up to it: a person's sitting down and lying down joined."""
    out = []
    people = sorted({r.person for r in recordings})
    for person in people:
        own = [(r, y) for r, y in zip(recordings, labels, strict=True) if r.person == person]
        for chair, yc in own:
            for bed, yb in own:
                if chair.code in ("D07", "D08") and bed.code == "D12":
                    for tempo in (
                        1.0,
                        1.35,
                    ):  # changes of activity_waist_phone are shorter than both in a row
                        out += _joined(chair, _spans(yc), bed, _spans(yb), tempo)
    return out


def _spans(y: np.ndarray) -> dict[str, tuple[int, int]]:
    edges = np.r_[0, np.flatnonzero(y[1:] != y[:-1]) + 1, len(y)]
    return {y[a]: (a, b) for a, b in pairwise(edges)}


def _joined(chair: Recording, c: dict, bed: Recording, b: dict, tempo: float) -> list[Recording]:
    trim = 0.4  # s: windows of a change reach into the rest before and after
    at = lambda window, shift=0.0: max(int((window * HOP_S + shift) * FREQUENCY), 0)  # noqa: E731
    middle = at((b["lying"][0] + b["lying"][1]) / 2)
    down = (slice(0, at(c["stand_to_sit"][1], -trim)), slice(at(b["sit_to_lie"][0], trim), middle))
    up = (slice(middle, at(b["lie_to_sit"][1], -trim)), slice(at(c["sit_to_stand"][0], trim), None))
    out = []
    for name, (one, two), (first, second) in (
        ("stand_to_lie", down, (chair, bed)), ("lie_to_stand", up, (bed, chair)),
    ):  # fmt: skip
        pieces = [_part(r.samples, part) for r, part in ((first, one), (second, two))]
        if min(len(p[0]) for p in pieces) < 80:
            continue
        force, rate = _faster(*_crossfade(*pieces), tempo)
        time = np.arange(len(force)) / FREQUENCY
        features = features_of(time, force, rate, up_of(force, rate), chair.frame)
        order = ("standing", name, "lying") if name == "stand_to_lie" else ("lying", name, "standing")
        out.append(Recording(f"{chair.name}+{bed.name}", chair.person, "spliced", features, order))
    return out


def _part(samples: Samples, part: slice) -> tuple[np.ndarray, np.ndarray | None]:
    return samples.force[part], None if samples.rate is None else samples.rate[part]


def _crossfade(
    a: tuple[np.ndarray, np.ndarray], b: tuple[np.ndarray, np.ndarray]
) -> tuple[np.ndarray, np.ndarray]:
    """The second piece turned to the first one's gravity and faded in over 0.2 s."""
    ends, starts = directions(a[0][-15:].mean(0)), directions(b[0][:15].mean(0))
    axis = np.cross(starts, ends)
    sine = np.linalg.norm(axis)
    turn = Rotation.from_rotvec(axis / max(sine, 1e-9) * np.arctan2(sine, starts @ ends))
    fade = np.linspace(0, 1, 10)[:, None]
    out = []
    for x, y in zip(a, b, strict=True):
        if x is None:
            out.append(None)
            continue
        y = turn.apply(y)
        out.append(np.vstack([x[:-10], x[-10:] * (1 - fade) + y[:10] * fade, y[10:]]))
    return out[0], out[1]


def _faster(force: np.ndarray, rate: np.ndarray, tempo: float) -> tuple[np.ndarray, np.ndarray]:
    """The same movement at another tempo: rates by it, accelerations by its square, gravity as it is."""
    gravity = STANDARD_GRAVITY * up_of(force, rate)
    at = np.arange(int(len(force) / tempo)) * tempo
    resampled = lambda v: np.column_stack([np.interp(at, np.arange(len(v)), c) for c in v.T])  # noqa: E731
    return resampled(gravity + tempo**2 * (force - gravity)), None if rate is None else resampled(
        rate * tempo
    )
