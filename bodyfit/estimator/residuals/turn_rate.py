"""Turn rate: from one keyframe to the next the unit turned as its gyroscope says."""

from __future__ import annotations

import numpy as np

from ...core.rotations import apply, exp, left_jacobian_inverse, log
from .base import Linearised


def turn_rate(
    R: np.ndarray, bias: np.ndarray, turn: np.ndarray, by_bias: np.ndarray, variance: np.ndarray
) -> Linearised:
    """Difference between the turn that the rotations make and the turn that was measured.

    Parameters
    ----------
    R : (K + 1, U, 3, 3) world_from_unit
    bias : (K + 1, U, 3) rad/s
    turn : (K, U, 3, 3) measured turn, bias not taken off
    by_bias : (K, U, 3, 3) s, see `signals.Turns`
    variance : (K, U) rad²

    Returns
    -------
    Linearised, m = 3, rad, unit frame at the later keyframe

    Notes
    -----
    e = Log((D Exp(B b))ᵀ R_kᵀ R_{k+1}). Source: Forster et al. 2017, doi:10.1109/TRO.2016.2597321, eq. 37,
    here with world-frame rotations: ∂e/∂θ_{k+1} = J_r⁻¹(e) R_{k+1}ᵀ = −∂e/∂θ_k, ∂e/∂b = −J_l⁻¹(e) B.
    """
    U = R.shape[1]
    corrected = turn @ exp(apply(by_bias, bias[:-1]))
    e = log(np.swapaxes(corrected, -1, -2) @ np.swapaxes(R[:-1], -1, -2) @ R[1:])
    by_next = left_jacobian_inverse(-e) @ np.swapaxes(R[1:], -1, -2)
    to_bias = -left_jacobian_inverse(e) @ by_bias
    rotation, biases = np.arange(U), U + np.arange(U)
    weight = np.repeat(1 / variance[..., None], 3, -1)
    jacobians = ((rotation, 0, -by_next), (rotation, 1, by_next), (biases, 0, to_bias))
    return Linearised("turn rate", e, jacobians, weight)
