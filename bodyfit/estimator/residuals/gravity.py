"""Gravity: what an accelerometer feels is gravity, and a motion that goes nowhere for long."""

from __future__ import annotations

import numpy as np

from ...core.robust import huber
from ...core.rotations import UP, skew
from .base import Linearised


def gravity(force: np.ndarray, g: float, sd: float, correlated: float, known: np.ndarray) -> Linearised:
    """Acceleration of each unit, taken for noise.

    Parameters
    ----------
    force : (K + 1, U, 3) m/s², specific force in the world frame, averaged about each keyframe
    g : m/s², gravity
    sd : m/s², of the acceleration of a worn unit
    correlated : number of keyframes over which accelerations are alike (their information counts once)
    known : (K + 1, U) bool

    Returns
    -------
    Linearised, m = 3, m/s², world frame

    Notes
    -----
    r = R f − g ŷ, ∂r/∂θ = −[R f]×, without its column for the vertical: |r| does not change with the heading,
    so that column adds nothing to the gradient and would only hold headings where they are.
    """
    value = force - g * UP
    share = huber(value, sd)
    weight = known * share / (correlated * sd**2)
    jacobians = ((np.arange(force.shape[1]), 0, -skew(force) * np.array([1.0, 0.0, 1.0])),)
    return Linearised("gravity", value, jacobians, np.repeat(weight[..., None], 3, -1), share=share)


def velocity_gain(
    force: np.ndarray,
    velocity: np.ndarray,
    g: float,
    step: float,
    sd: float,
    known: np.ndarray,
    unit_of: np.ndarray,
    first_slot: int,
) -> Linearised:
    """Gain of velocity between keyframes that the accelerometer does not explain.

    Parameters
    ----------
    force : (K + 1, U, 3) m/s², world frame
    velocity : (K + 1, V, 3) m/s, of some units
    g : m/s²
    step : s between keyframes
    sd : m/s²/√Hz, error of the accelerometer
    known : (K + 1, U) bool
    unit_of : (V,) which unit each velocity belongs to
    first_slot : slot of the first velocity

    Returns
    -------
    Linearised, m = 3, m/s, world frame

    Notes
    -----
    r = v_{k+1} − v_k − ½ Δt (R f_k + R f_{k+1} − 2 g ŷ). With `velocity_level` it lets gravity through and
    keeps motion out, however strong, since a wearer's speed is bounded.
    """
    f, V = force[:, unit_of], len(unit_of)
    gain = 0.5 * step * (f[:-1] + f[1:]) - step * g * UP
    value = np.diff(velocity, axis=0) - gain
    by_rotation = 0.5 * step * skew(f)
    eye = np.broadcast_to(np.eye(3), (*value.shape[:2], 3, 3))
    slots = first_slot + np.arange(V)
    both = known[:-1, unit_of] & known[1:, unit_of]
    # unknown forces leave the velocity free to change, by 3 m/s in a second
    variance = np.where(both, sd**2 * step, 9.0 * step)
    held = both[..., None, None]
    jacobians = (
        (unit_of, 0, by_rotation[:-1] * held),
        (unit_of, 1, by_rotation[1:] * held),
        (slots, 0, -eye),
        (slots, 1, eye),
    )
    value = np.where(both[..., None], value, np.diff(velocity, axis=0))
    return Linearised("velocity gain", value, jacobians, np.repeat(1 / variance[..., None], 3, -1))


def velocity_level(velocity: np.ndarray, sd: float, correlated: float, first_slot: int) -> Linearised:
    """Velocity of worn units, small beside what gravity would make of a wrong inclination.

    Parameters
    ----------
    velocity : (K + 1, V, 3) m/s
    sd : m/s, of a wearer's speed
    correlated : number of keyframes over which speeds are alike
    first_slot : slot of the first velocity

    Returns
    -------
    Linearised, m = 3, m/s, world frame
    """
    eye = np.broadcast_to(np.eye(3), (*velocity.shape[:2], 3, 3))
    slots = first_slot + np.arange(velocity.shape[1])
    weight = np.full(velocity.shape, 1 / (correlated * sd**2))
    return Linearised("velocity", velocity, ((slots, 0, eye),), weight)
