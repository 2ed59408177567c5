"""What is known beforehand of lever arms when only a unit's vertical is known: a usual body's joints.

A unit is worn somewhere on its segment, and the segment's joints lie about it as they lie beside each other.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ....alignment.facing.arms import Prior
from ....body.parts import Joint
from ....body.person import Person, share_of
from ...problem.problem import Problem
from ...problem.tie import Tie

STATURE = 1.7  # m, where none is stated: between the means of women and men (from memory)
ALONG, ACROSS = 0.10, 0.09  # m, of a unit from the middle of its segment, along and across it (from memory)
# m, of each joint's centre in its segment about a usual body's; tried: lengths of limbs scatter by 2.0 to 3.0
# cm, the trunk's by 4.4 cm in ANSUR II (US Army personnel), two centres to a length
CENTRE_SD = 0.03


def arm_prior(problem: Problem, ties: Sequence[Tie], level: np.ndarray) -> Prior:
    """Prior of the arms of all joints together.

    Parameters
    ----------
    problem : what is given
    ties : J joints
    level : (U, 3, 3) segment_from_unit, right but for a turn about the segment's Y

    Returns
    -------
    Prior

    Notes
    -----
    An arm is v = levelᵀ Ry(μ)ᵀ (c − p) + e with the joint's centre c, the unit's place p ~ N(middle, `ALONG`,
    `ACROSS`), the facing μ of which nothing is known, and e ~ N(0, `CENTRE_SD`). With horizontal parts as
    complex numbers q = z + i x, E q_j q̄_k = c_j c̄_k + 2 `ACROSS`² and E q_j q_k = 0: arms of one unit go
    together.
    """
    units = np.ravel([(tie.parent, tie.child) for tie in ties]).astype(int)
    centres = np.reshape([_centres(tie.joint) for tie in ties], (-1, 3))
    mean = np.zeros((len(units), 3))
    covariance = np.zeros((len(units), 3, len(units), 3))
    for unit in np.unique(units):
        own = np.flatnonzero(units == unit)
        up = level[unit, 1]
        mean[own] = (centres[own, 1] - _middle(problem, int(unit)))[:, None] * up
        at = np.ix_(own, np.arange(3), own, np.arange(3))
        covariance[at] = np.einsum("ai,jakb,bm->jikm", level[unit], _beside(centres[own]), level[unit])
    size = mean.size
    return Prior(mean.ravel(), np.linalg.inv(covariance.reshape(size, size) + CENTRE_SD**2 * np.eye(size)))


def _beside(centres: np.ndarray) -> np.ndarray:
    """(k, 3, k, 3) m², covariance of arms of one unit to k centres (k, 3), level frame."""
    count = len(centres)
    out = np.zeros((count, 3, count, 3))
    q = centres[:, 2] + 1j * centres[:, 0]
    pair = np.outer(q, q.conj()) / 2 + ACROSS**2
    out[:, 1, :, 1] = ALONG**2
    out[:, 2, :, 2] = out[:, 0, :, 0] = pair.real
    out[:, 0, :, 2], out[:, 2, :, 0] = pair.imag, -pair.imag
    return out


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
