"""What the signals, the ground and a standing foot say about its path: residuals with their Jacobians."""

from __future__ import annotations

import numpy as np

from ..core.rotations import UP, apply, cross, log, skew
from .normal_equations import COMMON, HERE, NEXT, NormalEquations
from .preintegration import Between
from .state import (
    BALL,
    BIAS_FORCE,
    BIAS_RATE,
    GROUND,
    HEEL,
    LAG,
    PLACE,
    SCALE,
    TURN,
    VELOCITY,
    FootState,
)

I = np.eye(3)  # by definition
IN_CONTACT = 1e-4  # m a keyframe, by which the ground below a standing foot moves (by reasoning: it doesn't)
LEAST_WEIGHT = 1e-3  # below which a contact is left out (by reasoning)


def add_turn(to: NormalEquations, state: FootState, between: Between, dt: float, sd: np.ndarray) -> None:
    """The gyroscope: Log(R₁ ΔRᵀ R₀ᵀ) = 0 from keyframe to keyframe.

    Parameters
    ----------
    to : takes the residuals
    state : at K keyframes
    between : gyroscope and accelerometer between them
    dt : s from keyframe to keyframe
    sd : (K − 1,) rad

    Notes
    -----
    With the lag τ: ∂/∂τ = −R₀ (ω₁ − ω₀).
    """
    R = state.R[:-1]
    by_lag = -apply(R, np.diff(between.rate, axis=0))[..., None]
    value = log(state.R[1:] @ np.swapaxes(R @ between.turn, -1, -2))
    moved = [(HERE, TURN, -I), (NEXT, TURN, I)]
    to.add(value, [*moved, (COMMON, BIAS_RATE, R * dt), (COMMON, LAG, by_lag)], sd)


def add_travel(
    to: NormalEquations, state: FootState, between: Between, dt: float, sd: np.ndarray, gravity: float
) -> None:
    """The accelerometer: v₁ − v₀ + g Δt up − R₀ Δv = 0, and likewise the way.

    Parameters
    ----------
    to : takes the residuals
    state : at K keyframes
    between : gyroscope and accelerometer between them
    dt : s from keyframe to keyframe
    sd : (K − 1,) m/s; that of the way is half of it times Δt
    gravity : m/s²
    """
    R = state.R[:-1]
    gain, way = apply(R, between.gain), apply(R, between.way)
    value = np.diff(state.velocity, axis=0) + gravity * dt * UP - gain
    moved = [(HERE, VELOCITY, -I), (NEXT, VELOCITY, I), (HERE, TURN, skew(gain))]
    common = [(COMMON, BIAS_FORCE, R @ between.gain_by_bias), (COMMON, SCALE, gain[..., None])]
    to.add(value, [*moved, *common], sd)
    value = np.diff(state.place, axis=0) - state.velocity[:-1] * dt + 0.5 * gravity * dt**2 * UP - way
    moved = [(HERE, PLACE, -I), (NEXT, PLACE, I), (HERE, TURN, skew(way)), (HERE, VELOCITY, -dt * I)]
    common = [(COMMON, BIAS_FORCE, R @ between.way_by_bias), (COMMON, SCALE, way[..., None])]
    # 10 µm: no way is known better (by reasoning)
    to.add(value, [*moved, *common], 0.5 * dt * sd + 1e-5)


def add_ground(to: NormalEquations, state: FootState, sd: np.ndarray) -> None:
    """The ground below a foot stays at one height: h₁ − h₀ = 0.

    Parameters
    ----------
    to : takes the residuals
    state : at K keyframes
    sd : (K − 1,) m
    """
    weight, change = sd**-2, np.diff(state.ground)
    to.own[:-1, GROUND, GROUND] += weight
    to.own[1:, GROUND, GROUND] += weight
    to.next[:, GROUND, GROUND] -= weight
    to.gradient[:-1, GROUND] -= weight * change
    to.gradient[1:, GROUND] += weight * change


def standing_point(state: FootState, towards_heel: np.ndarray) -> np.ndarray:
    """(K, 3) m, the point of the sole that stands, seen from the unit, unit frame.

    Parameters
    ----------
    state : of a foot
    towards_heel : (K,) one at the heel, zero at the ball

    Returns
    -------
    (K, 3)
    """
    a = towards_heel[:, None]
    return (1 - a) * state.ball + a * state.heel


def slip(state: FootState, rate: np.ndarray, towards_heel: np.ndarray) -> np.ndarray:
    """Velocity of the point of the sole that should stand: v + R (ω × r).

    Parameters
    ----------
    state : at K keyframes
    rate : (K, 3) rad/s, unit frame
    towards_heel : (K,) one at the heel, zero at the ball

    Returns
    -------
    (K, 3) m/s, world
    """
    return state.velocity + apply(state.R, cross(rate, standing_point(state, towards_heel)))


def add_contact(
    to: NormalEquations,
    state: FootState,
    rate: np.ndarray,
    towards_heel: np.ndarray,
    weight: np.ndarray,
    sd: tuple[np.ndarray, float],
) -> None:
    """A point of the sole stands, v + R (ω × r) = 0, and stands on the ground, (x + R r)·up − h = 0.

    Parameters
    ----------
    to : takes the residuals
    state : at K keyframes
    rate : (K, 3) rad/s, unit frame
    towards_heel : (K,) one at the heel, zero at the ball
    weight : (K,) factor on the weights; keyframes with next to none are left out
    sd : (K,) m/s, of the slip, and m, of the height
    """
    at = np.flatnonzero(weight > LEAST_WEIGHT)
    R, a = state.R[at], towards_heel[at][:, None, None]
    arm = apply(R, standing_point(state, towards_heel)[at])
    value = slip(state, rate, towards_heel)[at]
    turned, root = R @ skew(rate[at]), np.sqrt(weight[at])
    moved = [(HERE, VELOCITY, I), (HERE, TURN, -skew(value - state.velocity[at]))]
    common = [(COMMON, BALL, turned * (1 - a)), (COMMON, HEEL, turned * a)]
    to.add(value, [*moved, *common], sd[0][at] / root, at)
    up, level = UP[None], np.ones((1, 1))
    moved = [(HERE, PLACE, up), (HERE, GROUND, -level), (HERE, TURN, -skew(arm)[:, 1:2])]
    common = [(COMMON, BALL, R[:, 1:2] * (1 - a)), (COMMON, HEEL, R[:, 1:2] * a)]
    height = state.place[at, 1] + arm[:, 1] - state.ground[at]
    to.add(height[:, None], [*moved, *common], sd[1] / root, at)
