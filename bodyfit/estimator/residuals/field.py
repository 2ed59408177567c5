"""Field: the magnetometer points north, wherever the field is clean."""

from __future__ import annotations

import numpy as np

from ...core.robust import huber
from ...core.rotations import UP, skew
from .base import Linearised


def field_heading(
    field: np.ndarray,
    units: np.ndarray,
    sd: np.ndarray | float,
    correlated: np.ndarray | float,
    trusted: np.ndarray,
) -> Linearised:
    """Heading of the horizontal field, against magnetic north (+X).

    Parameters
    ----------
    field : (K + 1, M, 3) magnetometer in the world frame, averaged about each keyframe
    units : (M,) the units that carry them
    sd : (K + 1, M) or one for all, rad
    correlated : likewise, number of keyframes over which a disturbance stays
    trusted : (K + 1, M) bool

    Returns
    -------
    Linearised, m = 1, rad

    Notes
    -----
    r = atan2(−m_z, m_x), ∂r/∂θ = (0, 1, 0): the slope with respect to inclination is left out on purpose,
    so that a disturbed field never tilts a segment.
    """
    value = np.arctan2(-field[..., 2], field[..., 0])[..., None]
    share = huber(value, sd)
    weight = trusted * share / (correlated * sd**2)
    J = np.broadcast_to(UP, (*value.shape, 3))
    return Linearised("field heading", value, ((units, 0, J),), weight[..., None], share=share)


def field_vector(
    field: np.ndarray,
    north: np.ndarray,
    units: np.ndarray,
    sd: float,
    correlated: float,
    trusted: np.ndarray,
) -> Linearised:
    """The field as a whole, for units without an accelerometer.

    Parameters
    ----------
    field : (K + 1, M, 3) magnetometer in the world frame, of length about one
    north : (3,) unit vector, the field where it is clean
    units, correlated, trusted : as in `field_heading`
    sd : of a component, relative to the field's norm

    Returns
    -------
    Linearised, m = 3

    Notes
    -----
    r = R m − m₀, ∂r/∂θ = −[R m]×.
    """
    value = field - north
    share = huber(value, sd)
    weight = trusted * share / (correlated * sd**2)
    return Linearised(
        "field", value, ((units, 0, -skew(field)),), np.repeat(weight[..., None], 3, -1), share=share
    )
