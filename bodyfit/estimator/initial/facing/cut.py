"""The recording of one joint cut into pieces."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from ....alignment.facing.pieces import Pieces
from ....recording.attitude import stretches
from ...problem.problem import Problem
from ...problem.tie import Tie

# over which a heading between two units is taken for constant: drift stays below 3°; by reasoning
PIECE_S = 3.0
SPEED = 1.0  # m/s, by which a wearer's speed may differ between both ends of a stretch (`Weights.speed`)
LARGEST_TILT = np.radians(30.0)  # of a filter that starts from an accelerometer in motion; chosen; not tried
SHORTEST = 3  # keyframes; a shorter stretch says nothing; chosen; not tried


def pieces_of(problem: Problem, tie: Tie, in_pose: np.ndarray) -> Pieces:
    """Pieces in which both units of a joint are watched.

    Parameters
    ----------
    problem : what is given
    tie : the joint
    in_pose : (K + 1,) bool, keyframes of the declared pose

    Returns
    -------
    Pieces

    Notes
    -----
    Over a stretch of length T the mean acceleration is Δv / T, which a filter takes for a tilt of Δv / (g T).
    """
    signals = problem.signals
    part = stretches(signals.lost[:, tie.parent] | signals.lost[:, tie.child])
    watched = problem.watched((tie.parent, tie.child))
    longest = max(6, round(PIECE_S / signals.key_step))
    cut: list[np.ndarray] = []
    continued, tilt = [], []
    for number in range(part[-1] + 1):
        inside = np.flatnonzero((part == number) & watched)
        if len(inside) < SHORTEST:
            continue
        own = _cut(inside, in_pose[inside], longest)
        cut += own
        continued += [index > 0 for index in range(len(own))]
        tilt += [min(SPEED / (problem.g * len(inside) * signals.key_step), LARGEST_TILT)] * len(own)
    count = np.array([len(one) for one in cut], int)
    posed = np.array([bool(in_pose[one].all()) for one in cut], bool)
    return Pieces(
        np.concatenate(cut) if cut else np.zeros(0, int),
        np.cumsum(count) - count,
        count,
        np.repeat(np.arange(len(cut)), count),
        np.array(continued, bool),
        posed,
        np.where(posed, 0.0, np.array(tilt, float)),
    )


def _cut(inside: np.ndarray, posed: np.ndarray, longest: int) -> list[np.ndarray]:
    """One stretch of keyframes, cut where the pose starts and ends and into parts of about `longest`."""
    ends = np.r_[0, np.flatnonzero(np.diff(posed.astype(int))) + 1, len(inside)]
    out: list[np.ndarray] = []
    for a, b in pairwise(ends):
        parts = np.array_split(inside[a:b], max(1, round((b - a) / longest)))
        out += [one for one in parts if len(one)]
    return out
