"""Latency of gyroscopes behind accelerometers, and of units behind each other, from a jointed body's motion.

One unit alone shows neither: what gravity seems to do when the gyroscope is late looks like the unit's own
acceleration. There a usual latency is taken for granted.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from ..core.arrays.scratch import rows_at_once
from ..core.robust import huber
from ..core.rotations import apply
from ..recording.keyframe_averages import Averages
from .joint_centre import Ends

USUAL = 0.002  # s; low-pass filters of wearable-class chips lag by 1 to 4 ms (data sheets, from memory)
LEAST = 0.0003  # s, smaller latencies change nothing; by reasoning: 0.1° at 400 °/s
SIGNIFICANT = 2.0  # standard deviations; chosen; not tried
# s and standard deviations, for the clock of one among many units; chosen; not tried
OFFSET_LEAST, OFFSET_SIGNIFICANT = 0.0005, 4.0
OFFSET_SD = 0.01  # s, prior of a unit's offset: larger ones are taken off before; by reasoning
# s, prior of what a clock gains over half of the capture: 100 ppm in one minute; by reasoning: crystals
# keep within that (data sheets, from memory)
DRIFT_SD = 0.003


@dataclass(frozen=True, eq=False)
class Lateness:
    """By how much stamps are late.

    Attributes
    ----------
    latency : s, of all gyroscopes behind their accelerometers
    offset : (U,) s, of each unit at the middle of the capture
    drift : (U,) s, what its clock gains from the middle to the end
    """

    latency: float
    offset: np.ndarray
    drift: np.ndarray

    def __add__(self, other: Lateness) -> Lateness:
        return Lateness(self.latency + other.latency, self.offset + other.offset, self.drift + other.drift)

    def at(self, share: np.ndarray) -> np.ndarray:
        """(k, U) s at times given as shares of half the capture, −1 to 1."""
        return self.offset + share[:, None] * self.drift

    def __bool__(self) -> bool:
        return bool(self.latency or self.offset.any() or self.drift.any())


def on_time(units: int, latency: float = 0.0) -> Lateness:
    """No unit late, gyroscopes by a latency in s."""
    return Lateness(latency, np.zeros(units), np.zeros(units))


def lateness_from_joints(
    average: Averages, ends: Ends, levers: np.ndarray, sd: np.ndarray, correlated: float
) -> tuple[Lateness, Lateness]:
    """Latency, offsets and drifts that make the specific forces at joint centres agree.

    Parameters
    ----------
    average : with derivatives by latency
    ends, levers, sd : of J joints; sd in m/s²
    correlated : number of keyframes over which disagreements are alike

    Returns
    -------
    lateness, sd

    Notes
    -----
    One linear least-squares problem in (latency, offsets, drifts). Only differences between units show: the
    middle one of those that joints connect is taken to be on time.
    """
    assert average.force_by_latency is not None and average.lever_by_latency is not None
    assert average.force_by_time is not None
    K, U = average.known.shape
    prior = np.r_[1e-9, np.full(U, OFFSET_SD**-2), np.full(U, DRIFT_SD**-2)]
    H, b, share = np.diag(prior), np.zeros(1 + 2 * U), np.linspace(-1.0, 1.0, K)[:, None]
    for at, j in product(rows_at_once(K), range(len(levers))):
        J, two = np.zeros((at.stop - at.start, 3, 1 + 2 * U)), ends.units[j]
        value = np.zeros(J.shape[:2])
        for side, u, sign in zip((0, 1), two, (1.0, -1.0), strict=True):
            late = sign * apply(average.lever_by_latency[at, u], levers[j, side])
            by_clock = sign * average.force_by_time[at, u] + late
            value += sign * (average.force[at, u] + apply(average.lever[at, u], levers[j, side]))
            J[..., 0] += sign * average.force_by_latency[at, u] + late
            J[..., 1 + u], J[..., 1 + U + u] = by_clock, share[at] * by_clock
        w = average.known[at][:, two].all(1) * huber(value, sd[j]) / (correlated * sd[j] ** 2)
        weighed = (w[:, None, None] * J).reshape(-1, 1 + 2 * U)
        H += weighed.T @ J.reshape(-1, 1 + 2 * U)
        b -= weighed.T @ value.ravel()
        average.let_go()
    return _from_the_middle(np.linalg.solve(H, b), np.linalg.inv(H), np.unique(ends.units))


def _from_the_middle(x: np.ndarray, covariance: np.ndarray, joined: np.ndarray) -> tuple[Lateness, Lateness]:
    """Values and deviations with the middle unit of those that joints connect on time."""
    U = (len(x) - 1) // 2
    G = np.zeros((U, U))
    G[np.ix_(joined, joined)] = np.eye(len(joined)) - 1 / len(joined)
    whole = np.eye(1 + 2 * U)
    whole[1 : 1 + U, 1 : 1 + U] = whole[1 + U :, 1 + U :] = G
    sd = np.sqrt(np.diag(whole @ covariance @ whole.T))
    offset, drift = np.zeros(U), np.zeros(U)
    for out, values in ((offset, x[1 : 1 + U]), (drift, x[1 + U :])):
        out[joined] = values[joined] - np.median(values[joined])
    return Lateness(float(x[0]), offset, drift), Lateness(float(sd[0]), sd[1 : 1 + U], sd[1 + U :])


def worth_taking_off(found: Lateness, sd: Lateness) -> Lateness:
    """What is large and certain enough to act upon, the rest zero.

    Where one unit's clock certainly differs, none was set by another, and the best estimate of each counts.
    """
    latency = found.latency if abs(found.latency) > max(LEAST, SIGNIFICANT * sd.latency) else 0.0

    def certain(values: np.ndarray, sds: np.ndarray) -> bool:
        return bool(np.any(np.abs(values) > np.maximum(OFFSET_LEAST, OFFSET_SIGNIFICANT * sds)))

    if certain(found.offset, sd.offset) or certain(found.drift, sd.drift):
        return Lateness(latency, found.offset, found.drift)
    return Lateness(latency, 0.0 * found.offset, 0.0 * found.drift)
