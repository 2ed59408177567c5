"""Curves over the cycle: mean and standard deviation of every joint angle at 0 to 100 %."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ...body.motion.joint_angles import wrap
from ...core.cards import Card, Shown, counted
from ...fitting.result import Fit

POINTS = 101  # one a percent (common practice)
Angles = Mapping[str, Mapping[str, np.ndarray]]


@dataclass(frozen=True, eq=False, repr=False)
class Cycles(Shown):
    """Joint angles of one movement, or of one side's strides, over the cycle.

    Attributes
    ----------
    movement : its name; of strides "left" or "right"
    percent : (101,) 0 to 100
    mean : joint -> angle -> (101,) rad
    sd : joint -> angle -> (101,) rad, between cycles; NaN where there is only one
    count : how many cycles
    ranges : joint -> angle -> (count,) rad, largest less smallest of each cycle
    """

    movement: str
    percent: np.ndarray
    mean: Angles
    sd: Angles
    count: int
    ranges: Angles = field(default_factory=dict)

    def _card(self) -> Card:
        spans = [
            (joint, angle.replace("_", " "), *(np.degrees((curve.min(), curve.max()))))
            for joint, angles in self.mean.items()
            for angle, curve in angles.items()
        ]
        rows = tuple((joint, angle, f"{low:.1f}", f"{high:.1f}") for joint, angle, low, high in spans)
        return Card(
            f"{counted(self.count, 'cycle')} of {self.movement}",
            (),
            ("joint", "angle", ">mean from °", ">to °"),
            rows,
        )


def measured_angles(fit: Fit) -> Angles:
    """Joint angles of a fit without those of joints that no unit measured, which are guesses."""
    return {name: its for name, its in fit.joint_angles.items() if name not in fit.inferred_joints}


def cycles_of(movement: str, time: np.ndarray, angles: Angles, at: np.ndarray) -> Cycles:
    """Mean and standard deviation of angles over cycles.

    Parameters
    ----------
    movement : name
    time : (T,) s
    angles : joint -> angle -> (T,) rad
    at : (n, p) s, times at which each of n cycles passes p even shares of itself

    Returns
    -------
    Cycles

    Notes
    -----
    Angles are taken on the circle: deviations from the mean direction, wrapped to ±180°; the mean curve goes
    on without a jump. The standard deviation is that of a sample, n − 1.
    """
    mean: dict[str, dict[str, np.ndarray]] = {}
    sd: dict[str, dict[str, np.ndarray]] = {}
    ranges: dict[str, dict[str, np.ndarray]] = {}
    for joint, its_angles in angles.items():
        values = [np.interp(at, time, np.unwrap(value)) for value in its_angles.values()]
        stacked = np.stack(values) if values else np.empty((0, *at.shape))
        centre, spread = _circular(stacked)
        extent = np.ptp(stacked, axis=2) if at.size else np.empty((len(values), 0))
        for out, rows in ((mean, centre), (sd, spread), (ranges, extent)):
            out[joint] = dict(zip(its_angles, rows, strict=True))
    return Cycles(movement, np.linspace(0.0, 100.0, at.shape[1]), mean, sd, len(at), ranges)


def evenly_within(starts: np.ndarray, ends: np.ndarray, points: int = POINTS) -> np.ndarray:
    """Times of even shares of stretches whose ends are known events, as strides have them.

    Parameters
    ----------
    starts, ends : (n,) s

    Returns
    -------
    (n, points) s
    """
    share = np.linspace(0.0, 1.0, points)
    starts, ends = np.asarray(starts, float), np.asarray(ends, float)
    return starts[:, None] + share * (ends - starts)[:, None]


def at_shares(position: np.ndarray, points: int = POINTS) -> np.ndarray:
    """Positions at even shares of a template.

    Parameters
    ----------
    position : (n, m) positions that match each of a template's m samples

    Returns
    -------
    (n, points)
    """
    place = np.linspace(0, position.shape[1] - 1, points)
    low = np.minimum(place.astype(int), position.shape[1] - 2)
    share = place - low
    return (1 - share) * position[:, low] + share * position[:, low + 1]


def columns_of(cycles: Sequence[Cycles]) -> dict[str, np.ndarray]:
    """The columns of cycles.csv: 101 rows a movement or side, one below the other.

    Parameters
    ----------
    cycles : of each movement or side

    Returns
    -------
    column -> (101 × movements,) array; NaN where a movement has no such joint
    """
    names = list(dict.fromkeys((j, a) for one in cycles for j, its in one.mean.items() for a in its))
    out: dict[str, np.ndarray] = {"percent": _joined([one.percent for one in cycles])}
    for joint, angle in names:
        for word, kind in (("mean", "mean"), ("sd", "sd")):
            parts = [_part(getattr(one, kind), joint, angle, len(one.percent)) for one in cycles]
            out[f"{joint}_{angle}_{word}_deg"] = np.degrees(_joined(parts))
    out["cycles"] = _joined([np.full(len(one.percent), one.count) for one in cycles])
    out["movement"] = _joined([np.full(len(one.percent), one.movement, object) for one in cycles])
    return out


def _joined(parts: Sequence[np.ndarray]) -> np.ndarray:
    return np.concatenate(parts) if parts else np.empty(0)


def _part(angles: Angles, joint: str, angle: str, count: int) -> np.ndarray:
    return angles.get(joint, {}).get(angle, np.full(count, np.nan))


def _circular(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(a, p) mean and standard deviation over the second axis of (a, n, p) angles, rad."""
    count = values.shape[1]
    if not count:
        nothing = np.full((values.shape[0], values.shape[2]), np.nan)
        return nothing, nothing.copy()
    direction = np.arctan2(np.sin(values).mean(1), np.cos(values).mean(1))
    off = wrap(values - direction[:, None])
    mean = np.unwrap(direction + off.mean(1), axis=1)
    spread = off.std(1, ddof=1) if count > 1 else np.full(mean.shape, np.nan)
    return wrap(mean[:, :1]) + (mean - mean[:, :1]), spread
