"""Joint range and stiffness: angles within what people can do, and near what they usually do."""

from __future__ import annotations

import numpy as np

from ..rotations import apply
from .base import Linearised, huber


def angle_rates(angles: np.ndarray, sequence: str) -> tuple[np.ndarray, np.ndarray]:
    """How the angles of an intrinsic sequence change with a small rotation of the child.

    Parameters
    ----------
    angles : (..., 3) rad, R_parent_child = R(s₀, a₀) R(s₁, a₁) R(s₂, a₂)
    sequence : e.g. "ZXY"

    Returns
    -------
    rates : (..., 3, 3), da = rates @ φ for a rotation Exp(φ) in the parent frame
    clear : (...) in [0, 1], square of how far the sequence is from gimbal lock (zero: the rates are not
        defined and returned finite but meaningless)

    Notes
    -----
    The axes of the three turns, in the parent frame, are the columns of E: φ = E da; rows of its inverse are
    their cross products over its determinant. Source: any text on Euler angle rates, e.g. Diebel 2006,
    sec. 5.
    """
    axis = np.eye(3)
    i, j, k = ("XYZ".index(a) for a in sequence)
    first, second = _about(i, angles[..., 0]), _about(j, angles[..., 1])
    e0, e1, e2 = axis[i], first[..., j], apply(first, second[..., k])
    across = np.stack([np.cross(e1, e2), np.cross(e2, e0), np.cross(np.broadcast_to(e0, e1.shape), e1)], -2)
    det = across[..., 0, :] @ e0
    far = np.abs(det) > 0.1
    rates = across / np.where(far, det, 1.0)[..., None, None]
    return np.where(far[..., None, None], rates, axis), det**2 * far


def _about(i: int, angle: np.ndarray) -> np.ndarray:
    """Rotation matrices about one axis."""
    out = np.zeros((*angle.shape, 3, 3))
    j, k = (i + 1) % 3, (i + 2) % 3
    out[..., i, i] = 1.0
    out[..., j, j] = out[..., k, k] = np.cos(angle)
    out[..., j, k], out[..., k, j] = -np.sin(angle), np.sin(angle)
    return out


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
    name : "joint range" or "joint stiffness"
    R_parent : (K + 1, 3, 3) world_from_segment of the parent
    excess : (K + 1, 3) rad, reported angle minus the near limit (zero inside), or minus neutral
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
    rates, clear = angle_rates(raw, sequence)
    J = signs[:, None] * (rates @ np.swapaxes(R_parent, -1, -2))
    scaled = np.where(np.isfinite(sd), excess / np.where(np.isfinite(sd), sd, 1.0), 0.0)
    active = (excess != 0) & np.isfinite(sd)
    weight = active * (clear * huber(scaled, 1.0) / correlated)[:, None] / np.square(sd)
    jacobians = ((np.array([child]), 0, J[:, None]), (np.array([parent]), 0, -J[:, None]))
    return Linearised(name, excess[:, None], jacobians, weight[:, None])
