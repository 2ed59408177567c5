"""Postures: where joints beside segments without a unit usually are, and poses that were held."""

from __future__ import annotations

import numpy as np

from ...core.robust import huber
from ...core.rotations import heading_matrix, left_jacobian_inverse, log
from .base import Linearised


def posture(
    R: np.ndarray,
    segment_from_unit: np.ndarray,
    parents: np.ndarray,
    children: np.ndarray,
    usual: np.ndarray,
    whiten: np.ndarray,
    offset: np.ndarray,
    kept: float,
    posed: np.ndarray,
    directions: np.ndarray,
) -> list[Linearised]:
    """Rotation of a child segment against its parent's, as a Gauss–Markov process.

    Parameters
    ----------
    R : (K + 1, U, 3, 3) world_from_unit
    segment_from_unit : (U, 3, 3)
    parents, children : (J,)
    usual : (J, 3, 3) child's rotation against the parent's about which it wanders
    whiten : (J, 3, 3) 1/rad, Wᵀ W the inverse of its covariance
    offset : (J, 3) rad, of this person's own posture from that
    kept : share of a deviation that is left after one keyframe interval
    posed : (K + 1, J) bool, joints that a declared pose or a seat holds: nothing draws them to the usual
    directions : (J,) bool, whether only where the child's Y points counts; W is zero about Y there

    Returns
    -------
    two Linearised, m = 3, without unit: the first keyframe, and the changes; constants are the offsets

    Notes
    -----
    q = Log((R_p U)ᵀ R_c) − c, r_0 = W q_0, r_k = W (q_{k+1} − ρ q_k) / √(1 − ρ²): stationary with covariance
    (Wᵀ W)⁻¹, so the prior is as wide at every instant as it is said to be (first-order Gauss–Markov process,
    e.g. Gelb 1974, Applied Optimal Estimation, sec. 3.8; from memory).
    ∂q/∂θ_c = J_l⁻¹(q) (R_p U)ᵀ = −∂q/∂θ_p.
    Of directions q is that of `_swung`, whichever way the child is turned about its own Y.
    """
    segments = R @ np.swapaxes(segment_from_unit, -1, -2)
    from_world = np.swapaxes(segments[:, parents] @ usual, -1, -2)
    turn, by_turn = _turned(from_world @ segments[:, children], directions)
    q, J = turn - offset, whiten @ by_turn @ from_world
    value = (whiten @ q[..., None])[..., 0]
    scale = 1 / np.sqrt(1 - kept**2)
    share = np.where(posed[:-1] | posed[1:], 1.0, kept)[..., None]
    held = share[..., None] * J[:-1]
    at = np.arange(offset.size).reshape(-1, 3)
    first = Linearised(
        "posture",
        value[:1],
        ((children, 0, J[:1]), (parents, 0, -J[:1])),
        np.repeat(1.0 - posed[:1, :, None], 3, -1),
        (at, -whiten[None]),
    )
    changes = Linearised(
        "change of posture",
        scale * (value[1:] - share * value[:-1]),
        (
            (children, 0, -scale * held),
            (parents, 0, scale * held),
            (children, 1, scale * J[1:]),
            (parents, 1, -scale * J[1:]),
        ),
        np.ones(value[1:].shape),
        (at, -scale * (1 - share[..., None]) * whiten),
    )
    return [first, changes]


def _turned(E: np.ndarray, directions: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Log E (K + 1, J, 3), and its derivative (K + 1, J, 3, 3) by a turn on the left; of directions swung."""
    turn = log(E)
    by_turn = left_jacobian_inverse(turn)
    if directions.any():
        turn[:, directions], by_turn[:, directions] = _swung(E[:, directions])
    return turn, by_turn


def _swung(E: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Q = Log S of the swing in E = S Ry(t), S about a level axis, and ∂q/∂φ for E ← Exp(φ) E.

    t = atan2(E₀₂ − E₂₀, E₀₀ + E₂₂) makes q_y vanish. With J = J_l⁻¹(q), dq = J (φ − S e_y dt), and dt keeps
    q_y zero: ∂q/∂φ = J − (J S e_y) (e_yᵀ J) / (e_yᵀ J S e_y).
    """
    twist = np.arctan2(E[..., 0, 2] - E[..., 2, 0], E[..., 0, 0] + E[..., 2, 2])
    S = E @ heading_matrix(-twist)
    turn = log(S)
    J = left_jacobian_inverse(turn)
    along = (J @ S)[..., 1]
    return turn, J - along[..., :, None] * (J[..., 1, :] / along[..., 1, None])[..., None, :]


def held_pose(
    R: np.ndarray,
    segment_from_unit: np.ndarray,
    against: int,
    units: np.ndarray,
    segments: np.ndarray,
    sd: np.ndarray,
    counts: np.ndarray,
) -> Linearised:
    """Rotation of segments in a pose, as seen from a body that faces where one of them says.

    Parameters
    ----------
    R : (K + 1, U, 3, 3) world_from_unit
    segment_from_unit : (U, 3, 3)
    against : unit that says where the body faces
    units : (E,) the others
    segments : (U, 3, 3) world_from_segment of the pose, the body facing +X
    sd : (E, 3) rad, about the axes of the body that faces +X, of both together
    counts : (K + 1,) how much each keyframe counts: those in the pose, in the whole capture, one together

    Returns
    -------
    Linearised, m = 3, rad

    Notes
    -----
    B = R_a M_aᵀ S_aᵀ, where the body faces; r = Log(Bᵀ R M ᵀ Sᵀ), ∂r/∂θ = J_l⁻¹(r) Bᵀ = −∂r/∂θ_a.
    """
    seen = segments @ segment_from_unit  # body_from_unit of the pose
    from_world = seen[against] @ np.swapaxes(R[:, against], -1, -2)
    value = log(from_world[:, None] @ R[:, units] @ np.swapaxes(seen[units], -1, -2))
    J = left_jacobian_inverse(value) @ from_world[:, None]
    share = huber(value / sd, 1.0)
    weight = counts[:, None, None] * share[..., None] / sd**2
    ends = ((units, 0, J), (np.full(len(units), against), 0, -J))
    return Linearised("held pose", value, ends, weight, share=share)
