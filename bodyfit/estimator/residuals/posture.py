"""Posture: a joint beside a segment without a unit wanders about where such joints usually are."""

from __future__ import annotations

import numpy as np

from ...core.rotations import left_jacobian_inverse, log
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

    Returns
    -------
    two Linearised, m = 3, without unit: the first keyframe, and the changes; constants are the offsets

    Notes
    -----
    q = Log((R_p U)ᵀ R_c) − c, r_0 = W q_0, r_k = W (q_{k+1} − ρ q_k) / √(1 − ρ²): stationary with covariance
    (Wᵀ W)⁻¹, so the prior is as wide at every instant as it is said to be (first-order Gauss–Markov process,
    e.g. Gelb 1974, Applied Optimal Estimation, sec. 3.8; from memory).
    ∂q/∂θ_c = J_l⁻¹(q) (R_p U)ᵀ = −∂q/∂θ_p.
    """
    segments = R @ np.swapaxes(segment_from_unit, -1, -2)
    from_world = np.swapaxes(segments[:, parents] @ usual, -1, -2)
    turn = log(from_world @ segments[:, children])
    q, J = turn - offset, whiten @ left_jacobian_inverse(turn) @ from_world
    value = (whiten @ q[..., None])[..., 0]
    scale = 1 / np.sqrt(1 - kept**2)
    at = np.arange(offset.size).reshape(-1, 3)
    first = Linearised(
        "posture",
        value[:1],
        ((children, 0, J[:1]), (parents, 0, -J[:1])),
        np.ones(value[:1].shape),
        (at, -whiten[None]),
    )
    changes = Linearised(
        "change of posture",
        scale * (value[1:] - kept * value[:-1]),
        (
            (children, 0, -scale * kept * J[:-1]),
            (parents, 0, scale * kept * J[:-1]),
            (children, 1, scale * J[1:]),
            (parents, 1, -scale * J[1:]),
        ),
        np.ones(value[1:].shape),
        (at, np.broadcast_to(-scale * (1 - kept) * whiten, (len(value) - 1, *whiten.shape))),
    )
    return [first, changes]
