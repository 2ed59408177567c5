"""The recording of one joint cut into pieces."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from ....alignment.facing.pieces import Pieces
from ....recording.attitude import stretches
from ....recording.keyframe_averages import Averages
from ...problem.problem import Problem
from ...problem.tie import Tie

# over which a heading between two units is taken for constant: drift stays below 3°; by reasoning
PIECE_S = 3.0
# m/s, by which a unit's speed may differ between both ends of a stretch, and s, the same for each m/s² of
# its acceleration (root mean square); tried: on 780 stretches of recorded motion, simulated units and tissue
# (seeds 8000 to 8005 of tests/benchmarks/facing_in_pieces.py): 0.3 m/s below 2 m/s², 0.7 at 3 to 7, 0.9 at 9,
# 1.3 at 20
SPEED, PER_FORCE = 0.5, 0.1
# of a filter that starts from an accelerometer in motion; tried: on the same stretches, 11° at 15 to 25 m/s²
LARGEST_TILT = np.radians(20.0)
SHORTEST = 3  # keyframes; a shorter stretch says nothing; chosen; not tried


def pieces_of(problem: Problem, average: Averages, tie: Tie, in_pose: np.ndarray) -> Pieces:
    """Pieces in which both units of a joint are watched.

    Parameters
    ----------
    problem : what is given
    average : with start rotations
    tie : the joint
    in_pose : (K + 1,) bool, keyframes of the declared pose

    Returns
    -------
    Pieces

    Notes
    -----
    Over a stretch of length T the mean acceleration is Δv / T, which a filter takes for a tilt of Δv / (g T);
    Δv is larger for what moves more, a running foot against a standing pelvis.
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
        tilt += [_tilt(problem, average.force[inside][:, [tie.parent, tie.child]])] * len(own)
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


def _tilt(problem: Problem, force: np.ndarray) -> float:
    """Rad, root mean square over both units, of a stretch whose forces (k, 2, 3) m/s² are these."""
    moving = np.mean(np.sum((force - [0.0, problem.g, 0.0]) ** 2, -1), 0)
    speed = np.sqrt(np.mean(SPEED**2 + PER_FORCE**2 * moving))
    return float(min(speed / (problem.g * len(force) * problem.signals.key_step), LARGEST_TILT))


def _cut(inside: np.ndarray, posed: np.ndarray, longest: int) -> list[np.ndarray]:
    """One stretch of keyframes, cut where the pose starts and ends and into parts of about `longest`."""
    ends = np.r_[0, np.flatnonzero(np.diff(posed.astype(int))) + 1, len(inside)]
    out: list[np.ndarray] = []
    for a, b in pairwise(ends):
        parts = np.array_split(inside[a:b], max(1, round((b - a) / longest)))
        out += [one for one in parts if len(one)]
    return out
