"""Sole: a foot without a unit lies level while its ankle stands still."""

from __future__ import annotations

import numpy as np

from ...core.robust import huber
from ...core.rotations import UP, skew
from .base import Linearised


def sole_level(
    R: np.ndarray,
    segment_from_unit: np.ndarray,
    feet: np.ndarray,
    standing: np.ndarray,
    sd: float,
    correlated: float,
) -> Linearised:
    """Inclination of feet that stand.

    Parameters
    ----------
    R : (K + 1, U, 3, 3) world_from_unit
    segment_from_unit : (U, 3, 3)
    feet : (F,) units
    standing : (K + 1, F) bool
    sd : rad, of the floor and of the sole on it
    correlated : number of keyframes over which that is alike

    Returns
    -------
    Linearised, m = 2, rad

    Notes
    -----
    u = M Rᵀ ŷ, the vertical seen from the foot; r = (u_x, u_z), ∂u/∂θ = M Rᵀ [ŷ]×.
    """
    seen = segment_from_unit[feet] @ np.swapaxes(R[:, feet], -1, -2)
    value = (seen @ UP)[..., ::2]
    share = huber(value, sd)
    weight = standing * share / (correlated * sd**2)
    jacobian = (seen @ skew(UP))[..., ::2, :]
    return Linearised("sole", value, ((feet, 0, jacobian),), np.repeat(weight[..., None], 2, -1), share=share)
