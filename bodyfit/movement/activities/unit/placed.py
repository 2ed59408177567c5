"""Changes to and from lying, put where the trunk turns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..chain.timeline import ActivityStretch
from .features import Features

LEAST_TURN = np.radians(20)  # of the trunk, below which there is nothing to place by (by reasoning)
REACH_S = 2.0  # s before and after a change in which the trunk's turn is looked for (by reasoning)
LEVEL_S = 2.0  # s from which the postures before and after are taken, beyond that reach (by reasoning)
EDGES = (0.1, 0.9)  # shares of the turn between which the change lasts (common practice of rise times)


def placed(stretches: Sequence[ActivityStretch], features: Features) -> tuple[ActivityStretch, ...]:
    """Stretches, those of lying down and getting up moved to where the trunk turns.

    Parameters
    ----------
    stretches : in the order of time, without holes
    features : of the windows

    Returns
    -------
    tuple of ActivityStretch; their neighbours grow and shrink with them, and none vanishes

    Notes
    -----
    What a table learnt of when a change begins is vague, for its labels were found by order alone. The
    inclination of the trunk is not: a change lasts from a tenth to nine tenths of the turn.
    """
    out = list(stretches)
    tilt = np.arccos(np.clip(features.column("up_u"), -1, 1))
    for number in range(1, len(out) - 1):
        if "lie" in out[number].activity:
            before, one, after = out[number - 1 : number + 2]
            found = _turn(features.time, tilt, before, one, after)
            if found is not None:
                out[number - 1] = replace(before, end=found[0])
                out[number] = replace(one, start=found[0], end=found[1])
                out[number + 1] = replace(after, start=found[1])
    return tuple(out)


def _turn(
    time: np.ndarray, tilt: np.ndarray, before: ActivityStretch, one: ActivityStretch, after: ActivityStretch
) -> tuple[float, float] | None:
    """Start and end, s, of the trunk's turn about a change; None where there is none."""
    early = (time > max(before.start, one.start - REACH_S - LEVEL_S)) & (time < one.start)
    late = (time > one.end) & (time < min(after.end, one.end + REACH_S + LEVEL_S))
    near = (time > max(before.start, one.start - REACH_S)) & (time < min(after.end, one.end + REACH_S))
    if early.sum() < 2 or late.sum() < 2 or near.sum() < 3:
        return None
    level = np.median(tilt[early]), np.median(tilt[late])
    if abs(level[1] - level[0]) < LEAST_TURN:
        return None
    share, when = (tilt[near] - level[0]) / (level[1] - level[0]), time[near]
    middle = int(np.argmax(share > 0.5))
    starts = np.flatnonzero(share[:middle] < EDGES[0])
    ends = np.flatnonzero(share[middle:] > EDGES[1])
    if share.max() < 0.5 or not len(starts) or not len(ends):
        return None
    return float(when[starts[-1]]), float(when[middle + ends[0]])
