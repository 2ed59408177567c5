"""Neighbour: a segment without a unit lies, for want of better, near the segments that it is tied to."""

from __future__ import annotations

import numpy as np

from ..rotations import left_jacobian_inverse, log
from .base import Linearised


def neighbour(
    R: np.ndarray, parents: np.ndarray, children: np.ndarray, sd: float, correlated: float
) -> Linearised:
    """Rotation of a child against its parent.

    Parameters
    ----------
    R : (K + 1, U, 3, 3) world_from_segment
    parents, children : (J,)
    sd : rad, how far joints usually are from neutral
    correlated : number of keyframes over which that is alike

    Returns
    -------
    Linearised, m = 3, rad, parent frame

    Notes
    -----
    r = Log(R_pᵀ R_c), ∂r/∂θ_c = J_l⁻¹(r) R_pᵀ = −∂r/∂θ_p.
    """
    transposed = np.swapaxes(R[:, parents], -1, -2)
    value = log(transposed @ R[:, children])
    J = left_jacobian_inverse(value) @ transposed
    weight = np.full(value.shape, 1 / (correlated * sd**2))
    return Linearised("neighbour", value, ((children, 0, J), (parents, 0, -J)), weight)
