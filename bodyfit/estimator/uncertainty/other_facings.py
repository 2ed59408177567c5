"""What joint angles would be if a unit faced another way: too far from it for a linear spread."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from scipy.spatial.transform import Rotation

from ...alignment.facing.grid import headings, wrapped
from ...alignment.facing.known import Facing
from ...body.motion.joint_angles import joint_angles
from ...core.rotations import heading_matrix
from ..problem.problem import Problem

CELLS = 12  # of the circle, 30° each: the linear spread covers what lies between; by reasoning
RARE = 0.002  # probability of a pair of facings below which it is left out; chosen; not tried


def facing_variance(
    problem: Problem, facing: Facing | None, tie: int, rotations: Mapping[str, Rotation]
) -> Mapping[str, np.ndarray]:
    """Variance that the other ways in which both units may face add to each angle of a joint.

    Parameters
    ----------
    problem : what is given
    facing : what was found, or None
    tie : index of the joint
    rotations : segment -> Rotation of length T, world_from_segment, as found

    Returns
    -------
    angle name -> (T,) rad², empty where both facings are known

    Notes
    -----
    SD² = Σ_m P_m (SD_m² + (a_m − a)²) over the facings m that are left; here Σ_m P_m (a_m − a)², with
    R_m = Ry(Δ_p) R Ry(−Δ_c).
    """
    p, c = problem.ties[tie].parent, problem.ties[tie].child
    if facing is None or not (facing.doubtful[p] or facing.doubtful[c]):
        return {}
    joint = problem.ties[tie].joint
    parent, child = (rotations[name].as_matrix() for name in (joint.parent, joint.child))
    relative = np.swapaxes(parent, -1, -2) @ child
    found = joint_angles(joint, relative)
    out = {name: np.zeros(len(relative)) for name in found}
    for by_parent, by_child, probability in _others(facing, tie, p, c):
        turned = heading_matrix(np.asarray(by_parent)) @ relative @ heading_matrix(np.asarray(-by_child))
        for name, angle in joint_angles(joint, turned).items():
            out[name] += probability * wrapped(angle - found[name]) ** 2
    return out


def _others(facing: Facing, tie: int, p: int, c: int) -> Iterator[tuple[float, float, float]]:
    """Turns of both units from what was taken, and their probability."""
    if tie in facing.ties:
        pair = np.exp(facing.pair[facing.ties.index(tie)])
    else:
        pair = np.exp(facing.unit[p][:, None] + facing.unit[c][None])
    each = len(facing.unit[p]) // CELLS
    pair = np.roll(pair, (-facing.mode[p] + each // 2, -facing.mode[c] + each // 2), (0, 1))
    coarse = pair.reshape(CELLS, each, CELLS, each).sum((1, 3))
    turns = headings(CELLS)
    for i, j in zip(*np.nonzero(coarse > RARE), strict=True):
        if i or j:
            yield float(turns[i]), float(turns[j]), float(coarse[i, j])
