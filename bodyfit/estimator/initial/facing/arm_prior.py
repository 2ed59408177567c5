"""What is known beforehand of lever arms when only a unit's vertical is known: a usual body's joints.

A unit is worn somewhere on its segment, and the segment's joints lie about it as they lie beside each other.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ....alignment.facing.arms import Prior
from ....alignment.facing.lean import Level
from ....body.parts import Joint
from ....body.person import Person, share_of
from ...problem.problem import Problem
from ...problem.tie import Tie

STATURE = 1.7  # m, where none is stated: between the means of women and men (from memory)
ALONG, ACROSS = 0.10, 0.09  # m, of a unit from the middle of its segment, along and across it (from memory)
# m, of each joint's centre along its segment about a usual body's; tried: lengths of limbs scatter by 2.0 to
# 3.0 cm, the trunk's by 4.4 cm in ANSUR II (US Army personnel), two centres to a length
CENTRE_SD = 0.03
# m, the same across it: a segment's axes are drawn through its joints' centres, from which what they turn
# about strays; tried: 10, 15, 30 mm on 12 captures (15000 to 15011 of tests/benchmarks/facing_in_pieces.py)
# leave upper arms 3.4, 3.9, 5.2° askew
CENTRE_ACROSS = 0.015


def arm_prior(problem: Problem, ties: Sequence[Tie], level: Level) -> Prior:
    """Prior of the arms of all joints together, and of how units lean that a pose levels.

    Parameters
    ----------
    problem : what is given
    ties : J joints
    level : how units sit but for which way they face, and what each leans

    Returns
    -------
    Prior

    Notes
    -----
    An arm is v = levelᵀ Ry(μ)ᵀ (c − p) + e with the joint's centre c, the unit's place p ~ N(middle, `ALONG`,
    `ACROSS`), the facing μ of which nothing is known, and e ~ N(0, `CENTRE_SD`, `CENTRE_ACROSS`). With
    horizontal parts as complex numbers q = z + i x, E q_j q̄_k = c_j c̄_k + 2 `ACROSS`² and E q_j q_k = 0:
    arms of one unit go together. A segment whose length points to (l_x, 1, l_z) instead of up has its joints
    at y (l_x, 1, l_z): with B = ∂v/∂l and Λ the precision of arms that stand upright, that of both is
    [[Λ, −Λ B], [−Bᵀ Λ, Bᵀ Λ B]].
    """
    units = np.ravel([(tie.parent, tie.child) for tie in ties]).astype(int)
    centres = np.reshape([_centres(tie.joint) for tie in ties], (-1, 3))
    mean = np.zeros((len(units), 3))
    covariance = np.zeros((len(units), 3, len(units), 3))
    leaning = np.unique(units)[level.posed[np.unique(units)]]
    B = np.zeros((len(units), 3, len(leaning), 2))
    for unit in np.unique(units):
        own = np.flatnonzero(units == unit)
        along = centres[own, 1] - _middle(problem, int(unit))
        mean[own] = along[:, None] * level.matrix[unit, 1]
        if level.posed[unit]:
            toward = along[:, None, None] * level.matrix[unit, [0, 2]].T
            B[own, :, np.searchsorted(leaning, unit)] = toward
        at = np.ix_(own, np.arange(3), own, np.arange(3))
        covariance[at] = np.einsum(
            "ai,jakb,bm->jikm", level.matrix[unit], _beside(centres[own]), level.matrix[unit]
        )
    size = mean.size
    variance = np.square([CENTRE_ACROSS, CENTRE_SD, CENTRE_ACROSS])
    own = np.einsum("uai,a,uaj->uij", level.matrix[units], variance, level.matrix[units])
    covariance[np.arange(len(units)), :, np.arange(len(units))] += own
    upright = np.linalg.inv(covariance.reshape(size, size))
    both = np.concatenate([np.eye(size), -B.reshape(size, 2 * len(leaning))], 1)
    return Prior(
        np.concatenate([mean.ravel(), np.zeros(both.shape[1] - size)]),
        both.T @ upright @ both,
        leaning,
        level.sd[leaning],
    )


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
