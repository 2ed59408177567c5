"""What is known beforehand of lever arms when only a unit's vertical is known: heights on a usual body."""

from __future__ import annotations

import numpy as np

from ....alignment.facing.arms import Prior
from ....body.parts import Joint
from ....body.person import Person, share_of
from ....core.rotations import UP
from ...problem.problem import Problem
from ...problem.tie import Tie

STATURE = 1.7  # m, where none is stated: between the means of women and men (from memory)
ALONG, ACROSS = 0.10, 0.09  # m, of a unit from the middle of its segment, along and across it (from memory)


def arm_prior(problem: Problem, tie: Tie, level: np.ndarray) -> Prior:
    """Prior of both arms of a joint: along the segment by its usual length, across it wide.

    Parameters
    ----------
    problem, tie : what is given, and the joint
    level : (U, 3, 3) segment_from_unit, right but for a turn about the segment's Y

    Returns
    -------
    Prior
    """
    mean, precision = np.zeros(6), np.zeros((6, 6))
    for side, (unit, centre) in enumerate(zip((tie.parent, tie.child), _centres(tie.joint), strict=True)):
        up = level[unit].T @ UP
        own = slice(3 * side, 3 * side + 3)
        mean[own] = (centre[1] - _middle(problem, unit)) * up
        across = ACROSS**2 + (centre[0] ** 2 + centre[2] ** 2) / 2
        precision[own, own] = np.outer(up, up) / ALONG**2 + (np.eye(3) - np.outer(up, up)) / across
    return Prior(mean, precision)


def _centres(joint: Joint) -> tuple[np.ndarray, np.ndarray]:
    """(3,) m each: the joint's centre in both segment frames, of a usual body where none is stated."""
    return _metres(joint.centre_in_parent, joint.centre_in_parent_of_stature), _metres(
        joint.centre_in_child, joint.centre_in_child_of_stature
    )


def _metres(stated: np.ndarray | None, share) -> np.ndarray:
    if stated is not None:
        return np.asarray(stated, float)
    return np.zeros(3) if share is None else STATURE * np.asarray(share_of(share, Person()), float)


def _middle(problem: Problem, unit: int) -> float:
    """M along Y, between the joints of a unit's segment."""
    ends = [_centres(tie.joint)[0][1] for tie in problem.ties if tie.parent == unit]
    return float(np.mean([0.0, *ends]))
