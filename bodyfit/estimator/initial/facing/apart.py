"""Whether a pose hangs together with motion, so that it can say which way units face beside each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ....alignment.facing.grid import LEAST
from ....alignment.facing.pieces import Pieces
from ....recording.attitude import stretches
from ...problem.problem import Problem

# rad, of a heading by the accelerations of the pose's stretch; by reasoning: two pieces at least
TIED = np.radians(8.0)
SOFT = np.radians(10.0)  # by which tissue turns the heading of one piece at most, usually; chosen; not tried
# s of that stretch, for units that no such joint ties: a solver can tell by then; chosen; not tried
WATCHED_S = 10.0


def tied(pieces: Pieces, pull: np.ndarray) -> bool:
    """Whether accelerations in the pose's stretch show a joint's heading; also when there is no gap at all.

    Parameters
    ----------
    pieces : of the joint
    pull : (S,) complex, see `arms.Arms`

    Returns
    -------
    bool

    Notes
    -----
    However hard a unit is shaken, soft tissue turns what one piece shows by `SOFT`, so that a jerk of some
    tenths of a second beside the pose ties nothing: information Σ 1 / (1 / |pull| + SOFT²).
    """
    stretch = pieces.stretch
    here = np.isin(stretch, stretch[pieces.posed])
    if not pieces.posed.any():
        return False
    information = 1 / (1 / np.maximum(np.abs(pull), LEAST) + SOFT**2)
    return bool(here.all() or information[here & ~pieces.posed].sum() > TIED**-2.0)


def apart(problem: Problem, in_pose: np.ndarray, joints: Mapping[int, bool]) -> np.ndarray:
    """Units whose heading in the pose says nothing.

    Parameters
    ----------
    problem : what is given
    in_pose : (K + 1,) bool
    joints : tie -> whether it is `tied`

    Returns
    -------
    (U,) bool: those outside the largest group that tied joints hold together; a unit at which no joint was
    looked at, if little was recorded along with the pose
    """
    U = len(problem.signals.units)
    group = np.arange(U)
    for i, holds in joints.items():
        if holds:
            p, c = problem.ties[i].parent, problem.ties[i].child
            group[group == group[c]] = group[p]
    looked_at = np.zeros(U, bool)
    looked_at[_ends(problem, list(joints))] = True
    sizes = np.bincount(group[looked_at], minlength=U)
    out = looked_at & ((group != sizes.argmax()) | (sizes.max() < 2))
    for u in np.flatnonzero(problem.measured & ~looked_at):
        out[u] = _brief(problem, in_pose, int(u))
    return out


def _ends(problem: Problem, ties: Sequence[int]) -> np.ndarray:
    """Units at the ends of ties."""
    return np.unique([u for i in ties for u in (problem.ties[i].parent, problem.ties[i].child)]).astype(int)


def _brief(problem: Problem, in_pose: np.ndarray, unit: int) -> bool:
    """Whether a unit has gaps and little was recorded in the pose's own stretch."""
    lost = problem.signals.lost[:, unit]
    if not lost.any():
        return False
    part, watched = stretches(lost), problem.watched((unit,))
    here = np.isin(part, part[in_pose & watched]) & watched & ~in_pose
    return bool(here.sum() * problem.signals.key_step < WATCHED_S)
