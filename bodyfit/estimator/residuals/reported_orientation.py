"""Fused on the unit: an orientation that the unit itself reports; tight in inclination, loose in heading."""

from __future__ import annotations

import numpy as np

from ...core.rotations import left_jacobian_inverse, log
from .base import Linearised


def fused_orientation(
    R: np.ndarray,
    measured: np.ndarray,
    units: np.ndarray,
    sd_inclination: float,
    sd_heading: float,
    correlated: np.ndarray,
) -> Linearised:
    """Rotation between the estimate and what the unit reports.

    Parameters
    ----------
    R, measured : (K + 1, M, 3, 3) world_from_unit
    units : (M,)
    sd_inclination, sd_heading : rad
    correlated : (3,) number of keyframes over which the unit's error about each world axis is alike;
        a heading is off by the same all along

    Returns
    -------
    Linearised, m = 3, rad, world frame

    Notes
    -----
    r = Log(R R_measuredᵀ), ∂r/∂θ = J_l⁻¹(r). The turn from keyframe to keyframe is a residual of its own,
    which lets the heading drift slowly.
    """
    value = log(R @ np.swapaxes(measured, -1, -2))
    weight = np.empty(value.shape)
    weight[...] = 1 / (correlated * np.square([sd_inclination, sd_heading, sd_inclination]))
    return Linearised("fused on the unit", value, ((units, 0, left_jacobian_inverse(value)),), weight)
