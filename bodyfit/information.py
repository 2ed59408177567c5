"""Information bound: how well joint angles can be known, before anything is recorded, at the true motion."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag
from scipy.spatial.transform import Slerp

from .averages import HALF_WINDOW_S, Averages, averages
from .capture import Capture
from .constants import information_beforehand, with_constants
from .disturbances import (
    AXES,
    TISSUE,
    TissueEffect,
    at_keyframes,
    disturbed,
    second_derivative,
    tissue_effects,
    variances,
)
from .fitting import problem_of
from .heading_start import start
from .linearise import linearise
from .posterior import posterior
from .problem import Body, Problem, State, Tie
from .residuals.joint_angle import angle_rates
from .simulation import Simulated
from .simulation_settings import SimulationSettings
from .sureness import joint_angle_sd
from .weights import Weights

JOINT = (
    0.01  # m/s², what sampling at 100 Hz leaves between perfect units: medians of 0.002 to 0.015 (simulated)
)
INTEGRATED = 0.02  # m/s²/√Hz, likewise of what is integrated into velocity
NO_UNIT = 1e-4  # rad, "mounting" of a segment that carries none


@dataclass(frozen=True, eq=False)
class Truth:
    """The estimator's unknowns at the truth.

    Attributes
    ----------
    problem, state, body, average : see `estimate`
    bones : (K + 1, U, 3, 3) world_from_segment
    at : (K + 1,) s, keyframes, within the true times
    """

    problem: Problem
    state: State
    body: Body
    average: Averages
    bones: np.ndarray
    at: np.ndarray


def weights_of(settings: SimulationSettings, mounting_sd: float) -> Weights:
    """The estimator's standard deviations where errors are those of simulated units."""
    return Weights(
        gyroscope=max(settings.gyroscope_noise_density, math.radians(0.01)),
        gyroscope_scale=max(math.hypot(settings.scale_error_sd, settings.misalignment_sd), 1e-4),
        bias_at_start=max(settings.gyroscope_bias_sd, 1e-5),
        bias_walk=max(settings.gyroscope_bias_walk, 1e-6),
        accelerometer=INTEGRATED,
        accelerometer_constant=max(settings.accelerometer_bias_sd, 1e-3),
        joint_least=JOINT,
        joint_s=HALF_WINDOW_S / 0.75,
        mounting=max(mounting_sd, NO_UNIT),
    )


def angle_bound(made: Simulated, capture: Capture, mounting_sd: float) -> dict[str, dict[str, float]]:
    """Standard deviation of every joint angle that the signals allow, root mean square over time.

    Parameters
    ----------
    made : a simulated capture with its truth
    capture : the units and sensors of it that are used
    mounting_sd : rad, each component of every stated mounting's error

    Returns
    -------
    joint -> angle -> rad; NaN where the angle is next to gimbal lock throughout

    Notes
    -----
    The information matrix of the estimator's residuals at the truth, their weights those of the simulated
    errors, gives the covariance of rotations, biases and velocities. Lever arms are found; soft tissue and
    what an accelerometer is constantly off by are allowed for, not found (see `posterior`), as the estimator
    does. A true angle is linear in all of them: y = G x + F c has G S Gᵀ + (F − G X) Σ (F − G X)ᵀ. Mountings
    are known no better than stated.

    References
    ----------
    Van Trees 1968, Detection, Estimation, and Modulation Theory I, sec. 2.4 (Bayesian information bound);
    Schmidt 1966, as in `posterior` (both from memory).
    """
    worn = {str(made.units[n].segment): n for n in capture.units}
    problem = problem_of(capture, weights_of(made.settings, mounting_sd))
    truth = _at_truth(made, problem, worn, mounting_sd)
    effects = tissue_effects(made, list(capture.units))
    relative = _relative(made, truth, effects)
    return {
        tie.joint.name: _over_time(made, truth, tie, relative[:, i]) for i, tie in enumerate(problem.ties)
    }


def _at_truth(made: Simulated, problem: Problem, worn: Mapping[str, str], mounting_sd: float) -> Truth:
    """Everything that the estimator looks for, as it truly is."""
    state, body, _ = start(problem)
    segments, time = segments_of(problem), made.truth.time
    at = np.clip(problem.signals.key_time, time[0], time[-1])
    bones = np.stack([Slerp(time, made.truth.rotations[s])(at).as_matrix() for s in segments], 1)
    R, bias, velocity = bones.copy(), np.zeros(state.bias.shape), np.zeros(state.velocity.shape)
    for u, segment in enumerate(segments):
        if segment in worn:
            unit = made.units[worn[segment]]
            R[:, u] = Slerp(time, unit.rotation)(at).as_matrix()
            bias[:, u] = at_keyframes(unit.errors["gyroscope"].bias, time, at)
    for v, u in enumerate(problem.moving):
        place = made.units[worn[segments[u]]].place
        velocity[:, v] = at_keyframes(np.gradient(place, time, axis=0), time, at)
    state = replace(state, R=R, bias=bias, velocity=velocity)
    body = _true_body(made, problem, body, worn, mounting_sd)
    return Truth(problem, state, body, averages(problem.signals, problem.turns, R), bones, at)


def segments_of(problem: Problem) -> list[str]:
    """Segment of each unit of a whole body's problem."""
    names = {problem.root: problem.ties[0].joint.parent} if problem.ties else {}
    names |= {tie.child: tie.joint.child for tie in problem.ties}
    return [names[u] for u in range(len(problem.signals.units))]


def _true_body(
    made: Simulated, problem: Problem, body: Body, worn: Mapping[str, str], mounting_sd: float
) -> Body:
    """Lever arms and mountings as they are."""
    segments = segments_of(problem)
    units = [made.units[worn[s]] if s in worn else None for s in segments]
    M = np.stack([np.eye(3) if u is None else u.mounting.as_matrix() for u in units])
    sd = np.array([NO_UNIT if u is None else max(mounting_sd, NO_UNIT) for u in units])
    levers = np.empty((len(body.joints), 2, 3))
    for j, i in enumerate(body.joints):
        tie = problem.ties[i]
        centres = tie.joint.centre_in_parent, tie.joint.centre_in_child
        for end, (u, centre) in enumerate(zip((tie.parent, tie.child), centres, strict=True)):
            unit = units[u]
            assert unit is not None
            levers[j, end] = M[u].T @ ((np.zeros(3) if centre is None else centre) - unit.position)
    covariance = sd[:, None, None] ** 2 * np.eye(3)
    mounting = replace(body.mounting, segment_from_unit=M, covariance=covariance, fused=None)
    return replace(body, levers=levers, mounting=mounting, joint_sd=np.full(len(levers), JOINT))


def _relative(made: Simulated, truth: Truth, effects: Mapping[str, TissueEffect]) -> np.ndarray:
    """(K + 1, J, 3, 3) rad², covariance of each child bone's rotation against its parent's, world frame."""
    problem, state, body, average = truth.problem, truth.state, truth.body, truth.average
    settings, units = made.settings, state.R.shape[1]
    segments, time = segments_of(problem), made.truth.time
    _, _, gated = start(problem)
    level = math.hypot(settings.magnetometer_bias_sd, settings.magnetic_distortion) / _level_field(made)
    lasting = truth.at[-1] - truth.at[0]
    trust = gated.with_level(np.full(units, level), lasting, problem.signals.has["magnetometer"])
    parts = with_constants(linearise(problem, state, body, average, trust), problem, state, body, average)
    known, allowed = information_beforehand(problem, body)
    felt = {
        u: {
            n: at_keyframes(second_derivative(d, time), time, truth.at, averaged=True)
            for n, d in effects[s].parted.items()
        }
        for u, s in enumerate(segments)
        if s in effects
    }
    names = [problem.ties[i].joint.name for i in body.joints]
    setting = (body, state, average, settings)
    parts = disturbed(parts, len(known), 6 * len(body.levers), felt, names, setting)
    own = 1 / variances(settings)
    prior = block_diag(known, np.diag(np.r_[np.tile(own[:TISSUE], units), np.tile(own[TISSUE:], units)]))
    allowed = np.r_[allowed, np.ones((TISSUE + AXES) * units, bool)]
    turn = np.zeros((len(truth.at), units, 3, TISSUE))
    for u, s in enumerate(segments):
        if s in effects:
            turn[:, u] = at_keyframes(effects[s].turn, time, truth.at)
    return _between_bones(parts, truth, np.asarray(prior), allowed, len(known), turn)


def _level_field(made: Simulated) -> float:
    """Horizontal part of the Earth's field, T."""
    return max(made.field.norm * math.cos(made.field.dip), 1e-9)


def _between_bones(parts, truth: Truth, prior, allowed, first: int, turn: np.ndarray) -> np.ndarray:
    """Covariances by one pass of the smoother's factor."""
    ties, state = truth.problem.ties, truth.state
    out = np.empty((len(state.R), len(ties), 3, 3))

    def visit(at: slice, S: np.ndarray, X: np.ndarray, sigma: np.ndarray) -> None:
        for i, tie in enumerate(ties):
            p, c = (slice(3 * u, 3 * u + 3) for u in (tie.parent, tie.child))
            D = X[:, p] - X[:, c]
            for u, sign in ((tie.child, 1.0), (tie.parent, -1.0)):
                D[..., first + TISSUE * u : first + TISSUE * (u + 1)] += sign * turn[at, u]
            between = S[:, p, p] + S[:, c, c] - S[:, p, c] - S[:, c, p]
            out[at, i] = between + D @ sigma @ np.swapaxes(D, -1, -2)

    posterior(parts, state.slots, len(state.R), prior, allowed, visit)
    return out


def _over_time(made: Simulated, truth: Truth, tie: Tie, world: np.ndarray) -> dict[str, float]:
    """Angle -> root mean square over time of its standard deviation, rad, mountings counted in."""
    joint, mounting = tie.joint, truth.body.mounting.covariance
    back = np.swapaxes(truth.bones[:, tie.parent], -1, -2)
    relative = back @ truth.bones[:, tie.child]
    child = relative @ mounting[tie.child] @ np.swapaxes(relative, -1, -2)
    sigma = back @ world @ truth.bones[:, tie.parent] + mounting[tie.parent] + child
    true = made.truth.joint_angles[joint.name]
    nearest = np.searchsorted(made.truth.time, truth.at).clip(0, len(made.truth.time) - 1)
    angles = {name: true[name][nearest] for name in joint.angles}
    raw = np.stack([angles[name] for name in joint.angles], -1) * np.array(joint.signs, float)
    beyond = truth.at != truth.problem.signals.key_time  # a keyframe past the end, which nothing holds
    clear = (angle_rates(raw, joint.sequence)[1] > 0) & ~beyond
    sd = joint_angle_sd(joint, angles, sigma, np.arange(len(truth.at), dtype=float))
    return {n: float(np.sqrt(np.mean(v[clear] ** 2))) if clear.any() else math.nan for n, v in sd.items()}
