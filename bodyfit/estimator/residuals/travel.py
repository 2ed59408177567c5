"""Travel: where a unit goes between keyframes, by its accelerometer and gyroscope."""

from __future__ import annotations

import numpy as np

from ...core.rotations import apply, skew
from .base import Linearised

LOST_M_S2 = 10.0  # m/s², acceleration where none was measured; by reasoning: a g, next to nothing is known


def travel(
    R: np.ndarray,
    velocity: np.ndarray,
    position: np.ndarray,
    gain: np.ndarray,
    way: np.ndarray,
    known: np.ndarray,
    g: float,
    step: float,
    sd: float,
    slots: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> list[Linearised]:
    """Gain of velocity, and way gone, that the integrated accelerometer does not explain.

    Parameters
    ----------
    R : (K + 1, E, 3, 3) world_from_unit
    velocity, position : (K + 1, E, 3) m/s, m, world frame
    gain, way : (K, E, 3) m/s, m, specific force integrated once and twice, in the unit frame at each keyframe
    known : (K, E) bool, intervals in which it was measured throughout
    g : m/s²
    step : s between keyframes
    sd : m/s²/√Hz, error of the accelerometer
    slots : of the rotations, velocities and positions, (E,) each

    Returns
    -------
    two Linearised, m = 3, world frame: m/s and m

    Notes
    -----
    r_v = v_{k+1} − v_k − R_k Δv + g Δt ŷ and r_x = x_{k+1} − x_k − Δt v_k − R_k Δx + ½ g Δt² ŷ, with
    Δv = ∫ D f dt and Δx = ∬ D f dt², D the turn since the keyframe; variances σ² Δt and σ² Δt³ / 3 of white
    noise. Source: Forster et al. 2017, doi:10.1109/TRO.2016.2597321, eq. 33.
    """
    turning, moving, placed = slots
    up, eye = np.array([0.0, g, 0.0]), np.broadcast_to(np.eye(3), (*gain.shape, 3))
    sure = known[..., None]
    felt_v, felt_x = ((apply(R[:-1], x)) for x in (gain, way))
    value_v = np.diff(velocity, axis=0) - np.where(sure, felt_v - up * step, 0.0)
    value_x = (
        np.diff(position, axis=0) - step * velocity[:-1] - np.where(sure, felt_x - 0.5 * up * step**2, 0.0)
    )
    density = np.where(sure, sd**2, LOST_M_S2**2 * step)
    one = np.ones(gain.shape)
    return [
        Linearised(
            "velocity gain by travel",
            value_v,
            ((turning, 0, skew(felt_v) * sure[..., None]), (moving, 0, -eye), (moving, 1, eye)),
            one / (density * step),
        ),
        Linearised(
            "way",
            value_x,
            (
                (turning, 0, skew(felt_x) * sure[..., None]),
                (moving, 0, -step * eye),
                (placed, 0, -eye),
                (placed, 1, eye),
            ),
            one / (density * step**3 / 3),
        ),
    ]


def position_at_start(position: np.ndarray, sd: float, placed: np.ndarray) -> Linearised:
    """Where units are at the first keyframe: anywhere.

    Parameters
    ----------
    position : (K + 1, E, 3) m
    sd : m
    placed : (E,) slots of the positions

    Returns
    -------
    Linearised, K' = 1, m = 3, m
    """
    eye = np.broadcast_to(np.eye(3), (1, len(placed), 3, 3))
    return Linearised("position", position[:1], ((placed, 0, eye),), np.full((1, len(placed), 3), 1 / sd**2))
