"""Joint range and stiffness: angles within what people can do, and near what they usually do."""

from __future__ import annotations

import numpy as np

from ...body.motion.joint_angles import angle_rates
from ...core.robust import huber
from .base import Linearised


def joint_angle(
    name: str,
    R_parent: np.ndarray,
    excess: np.ndarray,
    raw: np.ndarray,
    sequence: str,
    signs: np.ndarray,
    parent: int,
    child: int,
    sd: np.ndarray,
    correlated: float,
) -> Linearised:
    """What three joint angles have beyond where they should be.

    Parameters
    ----------
    name : "joint range", "joint stiffness" or "stiff posture"
    R_parent : (K + 1, 3, 3) world_from_segment of the parent
    excess : (K + 1, 3) rad, reported angle minus the near limit (zero inside), or minus neutral or usual
    raw : (K + 1, 3) rad, angles of the sequence, without signs
    sequence, signs : of the joint
    parent, child : units
    sd : (3,) rad, infinite for angles that are left free
    correlated : number of keyframes over which a deviation is alike

    Returns
    -------
    Linearised, E = 1, m = 3, rad

    Notes
    -----
    ∂a/∂θ_child = signs ∘ E⁻¹ R_parentᵀ = −∂a/∂θ_parent. Weights fade towards gimbal lock, where angles
    mean nothing. Source: Lehmann et al. 2020, arXiv:2002.00639 (ranges as residuals).
    """
    scaled = np.where(np.isfinite(sd), excess / np.where(np.isfinite(sd), sd, 1.0), 0.0)
    active = (excess != 0) & np.isfinite(sd)
    share = huber(scaled, 1.0)
    if active.any():
        rates, clear = angle_rates(raw, sequence)
        J = signs[:, None] * (rates @ np.swapaxes(R_parent, -1, -2))
    else:  # a joint that keeps within its range weighs nothing, however its angles would turn
        J, clear = np.zeros(R_parent.shape), np.zeros(len(raw))
    weight = active * (clear * share / correlated)[:, None] / np.square(sd)
    jacobians = ((np.array([child]), 0, J[:, None]), (np.array([parent]), 0, -J[:, None]))
    return Linearised(name, excess[:, None], jacobians, weight[:, None], share=share[:, None])
