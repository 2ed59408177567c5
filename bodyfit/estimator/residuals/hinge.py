"""Joint type: the two ends of a hinge share one axis."""

from __future__ import annotations

import numpy as np

from ...core.robust import huber
from ...core.rotations import apply, skew
from .base import Linearised


def hinge(
    R: np.ndarray,
    parents: np.ndarray,
    children: np.ndarray,
    axes: np.ndarray,
    sd: np.ndarray,
    correlated: float,
) -> Linearised:
    """Difference of a hinge's axis as seen from its two ends.

    Parameters
    ----------
    R : (K + 1, U, 3, 3) world_from_unit, freed from the elastic part of the mounting
    parents, children : (J,) units
    axes : (J, 2, 3) unit vectors, in the parent's and the child's unit frame
    sd : (J,) rad, play of the joint and soft tissue
    correlated : number of keyframes over which that play is alike

    Returns
    -------
    Linearised, m = 3, rad, world frame

    Notes
    -----
    r = R_p j_p − R_c j_c. Source: Laidig, Schauer & Seel 2017, ICORR, pp. 971–976; Lehmann et al. 2020,
    arXiv:2002.00639.
    """
    p, c = apply(R[:, parents], axes[:, 0]), apply(R[:, children], axes[:, 1])
    value = p - c
    share = huber(value, sd)
    weight = share / (correlated * sd**2)
    jacobians = ((parents, 0, -skew(p)), (children, 0, skew(c)))
    return Linearised("hinge axis", value, jacobians, np.repeat(weight[..., None], 3, -1), share=share)
