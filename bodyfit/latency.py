"""Latency of gyroscopes behind accelerometers, from the motion of a jointed body.

One unit alone does not show it: what gravity seems to do when the gyroscope is late looks like the unit's own
acceleration. There a usual latency is taken for granted.
"""

from __future__ import annotations

import numpy as np

from .averages import Averages
from .geometry import Ends
from .residuals import huber
from .rotations import apply

USUAL = 0.002  # s; low-pass filters of wearable-class chips lag by 1 to 4 ms (data sheets, from memory)
LEAST = 0.0003  # s, smaller latencies change nothing
SIGNIFICANT = 2.0  # standard deviations


def latency_from_joints(
    average: Averages, ends: Ends, levers: np.ndarray, sd: np.ndarray, correlated: float
) -> tuple[float, float]:
    """Latency that makes the specific forces at joint centres agree.

    Parameters
    ----------
    average : with derivatives by latency
    ends, levers, sd : of J joints; sd in m/s²
    correlated : number of keyframes over which disagreements are alike

    Returns
    -------
    latency, sd : s
    """
    assert average.force_by_latency is not None and average.lever_by_latency is not None
    information, pull = 1e-9, 0.0
    for j, (p, c) in enumerate(ends.units):
        force, slope = (
            [F[:, u] + apply(L[:, u], levers[j, side]) for side, u in enumerate((p, c))]
            for F, L in (
                (average.force, average.lever),
                (average.force_by_latency, average.lever_by_latency),
            )
        )
        value, change = force[0] - force[1], slope[0] - slope[1]
        known = average.known[:, p] & average.known[:, c]
        w = known * huber(value, sd[j]) / (correlated * sd[j] ** 2)
        information += float((w * (change**2).sum(1)).sum())
        pull -= float((w * (change * value).sum(1)).sum())
    return pull / information, information**-0.5


def worth_taking_off(latency: float, sd: float) -> bool:
    """Whether a latency is large and certain enough to act upon."""
    return abs(latency) > max(LEAST, SIGNIFICANT * sd)
