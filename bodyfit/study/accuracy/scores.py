"""How far found rotations are from true ones, in figures: how large, which way, and when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np

from ...core.rotations import UP
from .recording_conditions import Circumstances
from .rotation_error import Pair, ends_removed, main_axis, rms, rotation_rms, split_about

ROWS = 2000  # rows from which constant rotations at the ends are estimated, at most; chosen; not tried
FIFTH = 20.0  # percent of the time that counts as the calmest, or as the most shaken; by definition
# of the field's strength, from which on its worst fifth counts as bent: the usual gate; common practice
BENT_LEAST = 0.1
# share of the mean square error from which on errors count as being of one kind; chosen; not tried
ONE_WAY = 0.8


@dataclass(frozen=True)
class Score:
    """Angles between found and true rotations of a child segment against its parent, degrees.

    Attributes
    ----------
    rmse_deg, median_deg, p95_deg : root mean square, median, 95th percentile
    ends_removed_deg : root mean square left when a constant rotation at either end is counted out
    heading_deg, inclination_deg : root mean square of the part about the vertical, and of the rest
    about_field_deg, across_field_deg : the same about the direction of the magnetic field; None: unknown
    quiet_deg, shaken_deg : root mean square in the fifth of the time that shakes units least, and most
    clean_deg, bent_deg : in the fifth in which the strength of the field is most as usual, and least so;
        None: it is as usual all along
    axis_elevation_deg : of the one axis about which errors are largest, above level; 90: heading
    about_axis_deg, across_axis_deg : root mean square about that axis, and at right angles to it
    band_share : share of angles and times in the 95 % band; None: no band is known
    """

    rmse_deg: float
    median_deg: float
    p95_deg: float
    ends_removed_deg: float
    heading_deg: float
    inclination_deg: float
    about_field_deg: float | None
    across_field_deg: float | None
    quiet_deg: float | None
    shaken_deg: float | None
    clean_deg: float | None
    bent_deg: float | None
    axis_elevation_deg: float
    about_axis_deg: float
    across_axis_deg: float
    band_share: float | None = None

    @property
    def which_way(self) -> str:
        """Direction in which four fifths of the mean square error lie, in words."""
        ways = {"heading": _share(self.heading_deg, self.inclination_deg)}
        if self.about_field_deg is not None and self.across_field_deg is not None:
            ways["about the field"] = _share(self.about_field_deg, self.across_field_deg)
        best = max(ways, key=lambda way: ways[way])
        if ways[best] >= ONE_WAY:
            return best
        if _share(self.about_axis_deg, self.across_axis_deg) >= ONE_WAY:
            return f"one axis, {self.axis_elevation_deg:.0f}° from level"
        return "no single one"


AXIS = ("axis_elevation_deg", "about_axis_deg", "across_axis_deg")


@dataclass(frozen=True, eq=False)
class Scored:
    """One pair of segments compared.

    Attributes
    ----------
    time : (T,) s, found times that the reference covers
    parts : name -> (T,) rad: "angle", "heading", "inclination", "about field", "across field"
    error : (T, 3) rad, rotation vectors, world of the reference
    score : in figures
    """

    time: np.ndarray
    parts: Mapping[str, np.ndarray]
    error: np.ndarray
    score: Score


def scored(
    pair: Pair,
    to_world: Pair | None,
    lag: float,
    field: np.ndarray | None,
    meanwhile: Circumstances | None,
    band: float | None = None,
) -> Scored:
    """A pair compared.

    Parameters
    ----------
    pair : found and true rotation
    to_world : the true rotation of the parent, which carries errors into the world; None: they are there
    lag : s, by which the reference's clock is late
    field : (3,) direction of the magnetic field in the world; None: unknown
    meanwhile : shaking and field over time; None: unknown
    band : share inside the 95 % band, when known

    Returns
    -------
    Scored

    Notes
    -----
    Found rotation = E × true one, E in the parent's frame; the parent's true rotation carries its rotation
    vector into the world.
    """
    found, true = pair.matched(lag)
    error = (found * true.inv()).as_rotvec()
    if to_world is not None:
        error = to_world.matched(lag)[1].apply(error)
    time = pair.time[pair.covered(lag)]
    parts = _parts(error, field)
    some = slice(None, None, max(1, -(-len(error) // ROWS)))
    left = rotation_rms(found[some], ends_removed(found[some], true[some]))
    figures = {
        **_sizes(parts["angle"]),
        "ends_removed_deg": left,
        **{f"{name.replace(' ', '_')}_deg": _rms_deg(parts.get(name)) for name in PARTS},
        **_by_circumstances(time, parts["angle"], meanwhile),
    }
    return Scored(time, parts, error, _score(figures, error, band))


PARTS = ("heading", "inclination", "about field", "across field")


def overall(scores: Sequence[Scored]) -> Score:
    """Means over the pairs; the axis over all of them."""
    all_of = [asdict(one.score) for one in scores]
    figures = {name: _mean([s[name] for s in all_of]) for name in all_of[0] if name not in AXIS}
    band = figures.pop("band_share")
    return _score(figures, np.concatenate([one.error for one in scores]), band)


def _parts(error: np.ndarray, field: np.ndarray | None) -> dict[str, np.ndarray]:
    heading, inclination = split_about(error, UP)
    parts = {"angle": np.linalg.norm(error, axis=1), "heading": heading, "inclination": inclination}
    if field is not None:
        parts["about field"], parts["across field"] = split_about(error, field)
    return parts


def _sizes(angle: np.ndarray) -> dict[str, float]:
    sizes = {"rmse_deg": rms(angle), "median_deg": np.median(angle), "p95_deg": np.percentile(angle, 95)}
    return {name: float(np.degrees(value)) for name, value in sizes.items()}


def _by_circumstances(
    time: np.ndarray, angle: np.ndarray, meanwhile: Circumstances | None
) -> dict[str, float | None]:
    """Error in the fifths of the time that shake least and most, and whose field is best and worst."""
    shaken = None if meanwhile is None else meanwhile.shaken
    bent = None if meanwhile is None else meanwhile.bent
    out: dict[str, float | None] = {}
    for least, most, values, enough in (
        ("quiet_deg", "shaken_deg", shaken, 0.0),
        ("clean_deg", "bent_deg", bent, BENT_LEAST),
    ):
        out[least] = out[most] = None
        if meanwhile is None or values is None:
            continue
        at = np.interp(time, meanwhile.time, values)
        low, high = np.percentile(at, [FIFTH, 100 - FIFTH])
        if high >= enough:
            out[least], out[most] = _rms_deg(angle[at <= low]), _rms_deg(angle[at >= high])
    return out


def _score(figures: Mapping[str, float | None], error: np.ndarray, band: float | None) -> Score:
    """All figures, rounded, and the axis."""
    axis = dict(zip(AXIS, np.degrees(main_axis(error)), strict=True))
    return Score(**{n: rounded(v) for n, v in {**figures, **axis, "band_share": band}.items()})  # type: ignore


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.mean(known)) if known else None


def _rms_deg(values: np.ndarray | None) -> float | None:
    return None if values is None or not len(values) else float(np.degrees(rms(values)))


def _share(part: float, rest: float) -> float:
    return part**2 / (part**2 + rest**2) if part or rest else 0.0


def rounded(value: float | None) -> float | None:
    """The number with four decimals."""
    return None if value is None else round(float(value), 4)
