"""Measures `bodyfit strides` on recordings with references: `python docs/feet_study.py [events lengths …]`.

Every part prints lines for the tables of movement.md. Constants were chosen on these recordings.
"""

from __future__ import annotations

import dataclasses
import sys
from collections import defaultdict
from collections.abc import Callable

import numpy as np
import pandas as pd
from feet_marks import NEAR_S, accused, movements
from feet_recordings import GAP_S, SIDES, G, faster, longest_gap, marked_feet, unit
from feet_runs import simulated_runs
from recordings import DATA
from scipy.ndimage import gaussian_filter1d

from bodyfit.feet.samples import foot_samples
from bodyfit.feet.smoother import foot_path, lengths
from bodyfit.movement.strides.foot_motion import motion_of_path
from bodyfit.movement.strides.shank import calf_swings
from bodyfit.movement.strides.steps import step_times
from bodyfit.movement.strides.swings import swings
from bodyfit.recording.capture import Unit

BESIDE_S = 0.15  # s within which a found event and a mark are of the same step
SAMPLE_S = 0.01  # s from packet to packet of foot_events_walk
LOST_S = 1.5 * SAMPLE_S  # a longer step between samples: packets were lost
WHOLE = 0.001  # share of steps with lost packets up to which a recording counts as whole
WORST = (("17-2", "left"), ("17-3", "left"), ("3-3", "right"))  # that lost the most: 13, 14 and 10 % of steps


def matched(found: np.ndarray, marked: np.ndarray, near: float = NEAR_S) -> list[tuple[int, int]]:
    """Pairs of found and marked times, nearest first, each once, within `near` s."""
    apart, pairs = np.abs(found[:, None] - marked[None]), []
    for f, m in zip(*np.unravel_index(np.argsort(apart, axis=None), apart.shape), strict=True):
        if apart[f, m] > near:
            break
        if all(f != pair[0] and m != pair[1] for pair in pairs):
            pairs.append((int(f), int(m)))
    return pairs


def events() -> None:
    """`foot_events_walk`: F1 within 50 ms by kind of step; what the marks allow: `feet_marks.py`."""
    counts: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0, 0])
    errors: dict[tuple[str, str], list[float]] = defaultdict(list)
    cannot: dict[str, int] = defaultdict(int)
    for foot in marked_feet():
        swung = swings(motion_of_path(foot_path(foot_samples(foot.unit, G)), foot.side))
        all_moved = movements(foot)
        for event, marked in foot.times.items():
            found, kinds = swung.times[event], foot.kinds[event]
            pairs = matched(found, marked)
            for f, m in pairs:
                counts[event, kinds[m]][0] += 1
                errors[event, kinds[m]].append(found[f] - marked[m])
            for f in set(range(len(found))) - {f for f, _ in pairs}:
                counts[event, kinds[np.abs(marked - found[f]).argmin()]][1] += 1
            for m in set(range(len(marked))) - {m for _, m in pairs}:
                counts[event, kinds[m]][2] += 1
                cannot[event] += kinds[m] == "turn" and bool(accused(all_moved, marked[m]))
    for key in sorted(counts):
        hit, false, missed = counts[key]
        off = 1000 * np.array(errors[key])
        print(
            f"{key[0]:12s} {key[1]:9s} F1 {f1(hit, false, missed):.3f}, hit {hit}, false {false}, "
            f"missed {missed}; median |error| {np.median(np.abs(off)):.1f} ms, "
            f"{off.mean():+.1f} ± {off.std():.1f}"
        )
    for event, wrong in cannot.items():
        print(f"{event} in turns: {wrong} of the missed marks speak against the signals (feet_marks.py)")


def event_bands() -> None:
    """`foot_events_walk`: share of found events whose 95 % band holds the mark, of those within 0.15 s."""
    rows: dict[str, list[float]] = defaultdict(list)
    for foot in marked_feet():
        motion = motion_of_path(foot_path(foot_samples(foot.unit, G)), foot.side)
        swung = swings(motion)
        ends = motion.stances[[swung.before, swung.after], 1]
        turned = np.degrees(np.abs(np.subtract(*motion.heading[ends])))
        for event, marked in foot.times.items():
            for f, m in matched(swung.times[event], marked, BESIDE_S):
                off = abs(swung.times[event][f] - marked[m]) / swung.sds[event][f]
                kinds = ("all", foot.kinds[event][m], f"turns by {'over' if turned[f] > 45 else 'under'} 45°")
                for kind in kinds:
                    rows[f"{event} {kind}"].append(off)
    for what, off in sorted(rows.items()):
        print(f"{what}: {len(off)}, {100 * np.mean(np.array(off) < 1.96):.0f} % in their bands")


def f1(hit: int, false: int, missed: int) -> float:
    """Harmonic mean of precision and recall."""
    return 2 * hit / (2 * hit + false + missed)


def lost_packets() -> None:
    """Whole recordings of `foot_events_walk` thinned as the worst ones are: F1 of straight steps."""
    feet = list(marked_feet())
    whole = [foot for foot in feet if np.mean(np.diff(foot.unit.time) > LOST_S) <= WHOLE]
    for name, side in WORST:
        worst = next(foot.unit.time for foot in feet if (foot.name, foot.side) == (name, side))
        counts: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
        for foot in whole:
            worn = thinned(foot.unit, worst)
            times = swings(motion_of_path(foot_path(foot_samples(worn, G)), foot.side)).times
            for event, marked in foot.times.items():
                pairs = matched(times[event], marked)
                beside = np.array([longest_gap(worn.time, at) > GAP_S for at in marked])
                asked = (foot.kinds[event] == "straight") & beside
                nearest = np.abs(times[event][:, None] - marked).argmin(1)
                hits = [m for _, m in pairs if asked[m]]
                counts[event][0] += len(hits)
                free = set(range(len(nearest))) - {f for f, _ in pairs}
                counts[event][1] += sum(asked[nearest[f]] for f in free)
                counts[event][2] += int(asked.sum()) - len(hits)
        for event, (hit, false, missed) in counts.items():
            print(
                f"{len(whole)} feet thinned as {name} {side}: {event} about lost packets, straight: "
                f"F1 {f1(hit, false, missed):.3f}, hit {hit}, false {false}, missed {missed}"
            )


def thinned(worn: Unit, kept: np.ndarray) -> Unit:
    """The unit without the samples that another one, over and over, has not got."""
    number = np.round((worn.time - worn.time[0]) / SAMPLE_S).astype(int)
    steps = np.round(np.diff(kept) / SAMPLE_S).astype(int)
    among = np.isin(number, np.r_[0, np.cumsum(np.tile(steps, 3))])
    assert worn.accelerometer is not None and worn.gyroscope is not None
    return dataclasses.replace(
        worn,
        time=worn.time[among],
        accelerometer=worn.accelerometer[among],
        gyroscope=worn.gyroscope[among],
    )


def path_lengths() -> None:
    """Stride lengths between given marks: `foot_path_optical`, also played faster, and `foot_optical`."""
    for factor in (1.0, 1.5, 2.0):
        rows = []
        for folder in sorted((DATA / "foot_path_optical").glob("2*")):
            read, marks = unit(folder / "foot.parquet"), pd.read_csv(folder / "strides.csv")
            path = foot_path(foot_samples(read, G))
            if factor != 1:
                path = foot_path(foot_samples(faster(read, path, factor), G))
            at = marks.t_from.to_numpy() / factor, marks.t_to.to_numpy() / factor
            rows.append((*lengths(path, *at), marks.stride_length_m.to_numpy()))
        tell(f"foot_path_optical x {factor:g}", rows)
    rows = []
    for folder in sorted((DATA / "foot_optical").glob("C*")):
        marks = pd.read_csv(folder / "strides.csv")
        for letter, side in SIDES.items():
            mine = marks[marks.foot == letter]
            path = foot_path(foot_samples(unit(folder / f"{side}_foot.parquet"), G))
            found = lengths(path, mine.t_from.to_numpy(), mine.t_to.to_numpy())
            rows.append((*found, mine.stride_length_m.to_numpy()))
    tell("foot_optical", rows)


def found_strides() -> None:
    """`foot_optical`, nothing given: strides with one swing found in them, and their own lengths."""
    count, found, own = 0, 0, []
    for folder in sorted((DATA / "foot_optical").glob("C*")):
        marks = pd.read_csv(folder / "strides.csv")
        for letter, side in SIDES.items():
            motion = motion_of_path(foot_path(foot_samples(unit(folder / f"{side}_foot.parquet"), G)), side)
            swung = swings(motion)
            off, strike = swung.times["toe_off"], swung.times["heel_strike"]
            for mark in marks[marks.foot == letter].itertuples():
                inside = np.flatnonzero((off > mark.t_from) & (strike < mark.t_to))
                count += 1
                if len(inside) == 1:
                    found += 1
                    ends = motion.stances[[swung.before[inside[0]], swung.after[inside[0]]], 1]
                    own.append((*motion.lengths(ends[:1], ends[1:]), np.array([mark.stride_length_m])))
    print(f"foot_optical: {found} of {count} strides found")
    tell("foot_optical, between own marks", own)


def runs() -> None:
    """Simulated runs at 2.7 to 3.9 m/s, standing before and after: strides found, and their lengths."""
    kinds = [(20, 1.0, 0.0, True), (20, 5.0, 0.0, True), (6, 1.0, 0.0, True), (20, 1.0, 1.0, True)]
    for count, seconds, tissue, held in (*kinds, (20, 1.0, 3.0, True), (20, 1.0, 0.0, False)):
        rows, asked, found = [], 0, 0
        for _, made in simulated_runs(count, seconds, tissue, held):
            (worn,), (truth,) = made.capture.units.values(), made.units.values()
            motion = motion_of_path(foot_path(foot_samples(worn, G)), "none")
            swung, asked = swings(motion), asked + count
            found += len(swung)
            calm = motion.stances[:, 1]
            true = np.stack([np.interp(motion.time, made.truth.time, x) for x in truth.place.T], 1)
            start, end = calm[swung.before], calm[swung.after]
            way = np.linalg.norm((true[end] - true[start])[:, [0, 2]], axis=1)
            rows.append((*motion.lengths(start, end), way))
        what = (
            f"{count} strides between {seconds:g} s, {tissue:g} °/g, ball {'held' if held else 'as recorded'}"
        )
        tell(f"runs of {what}: {found} of {asked} found", rows)


def pocket_steps() -> None:
    """`steps_phone`: steps counted, and within 0.2 s of those of another device."""
    for pocket in ("user1_backpocket", "user1_frontpocket"):
        table = pd.read_parquet(DATA / "steps_phone" / f"{pocket}.parquet").astype(float)
        table = table[np.r_[True, np.diff(table.t) > 1e-4]]
        worn = Unit(
            "phone", "l_thigh", table.t.to_numpy(), table[["acc_x", "acc_y", "acc_z"]].to_numpy(), None
        )
        told_steps(
            pocket, worn, pd.read_csv(DATA / "steps_phone" / f"{pocket}_steps.csv").iloc[:, 0].to_numpy()
        )


def told_steps(name: str, worn: Unit, marked: np.ndarray) -> None:
    """Steps of a unit against marked ones, within 0.2 s."""
    found = np.concatenate(step_times(worn))
    hit = len(matched(found, marked, 0.2))
    print(f"{name}: {len(found)} steps for {len(marked)}, F1 {2 * hit / (len(found) + len(marked)):.3f}")


def calf_events() -> None:
    """`foot_optical`: rates of the line from knee to ankle, against the middle of both optical methods."""
    off: dict[str, list[float]] = {"heel_strike": [], "toe_off": []}
    for folder in sorted((DATA / "foot_optical").glob("C*")):
        markers, told = (
            pd.read_parquet(folder / "optical_markers.parquet"),
            pd.read_csv(folder / "events.csv"),
        )
        for letter in SIDES:
            along = [markers[f"{letter.lower()}kne_{a}"] - markers[f"{letter.lower()}ank_{a}"] for a in "xz"]
            angle = pd.Series(np.arctan2(*along)).interpolate(limit_direction="both").to_numpy()
            rate, t = gaussian_filter1d(np.gradient(angle, markers.t), 1.0), markers.t.to_numpy()
            turning = np.stack([0 * t, rate, 0 * t], 1)
            worn = Unit("calf", "l_calf", t, np.tile([0.0, 0.0, G], (len(t), 1)), turning)
            times = calf_swings(foot_samples(worn, G)).times
            for event, errors in off.items():
                one, two = (
                    told[(told.foot == letter) & (told.event == event + ending)].t.to_numpy()
                    for ending in ("", "_fv")
                )
                both = [(a + two[np.abs(two - a).argmin()]) / 2 for a in one if np.abs(two - a).min() < 0.15]
                errors += [
                    min((x - b for b in both), key=abs)
                    for x in times[event]
                    if both and min(abs(x - b) for b in both) < 0.2
                ]
    for event, errors in off.items():
        print(f"calf {event}: {len(errors)}, {1000 * np.mean(errors):+.0f} ± {1000 * np.std(errors):.0f} ms")


def tell(name: str, rows: list) -> None:
    """Error of lengths with standard deviations against true ones."""
    found, sd, true = (np.concatenate(column) for column in zip(*rows, strict=True))
    off = found - true
    inside = np.mean(np.abs(off) < 1.96 * sd)
    print(
        f"{name}: {len(off)} strides, {100 * off.mean():+.1f} ± {100 * off.std():.1f} cm, "
        f"{100 * np.sqrt(np.mean(off**2)):.2f} cm RMS, {100 * off.sum() / true.sum():+.1f} %, "
        f"{100 * inside:.0f} % in their bands"
    )


PARTS: dict[str, Callable[[], None]] = {
    "events": events,
    "bands": event_bands,
    "lost": lost_packets,
    "lengths": path_lengths,
    "found": found_strides,
    "runs": runs,
    "pocket": pocket_steps,
    "calf": calf_events,
}

if __name__ == "__main__":
    for part in sys.argv[1:] or PARTS:
        PARTS[part]()
