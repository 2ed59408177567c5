"""Information bound: how well joint angles can be known, before anything is recorded, at the true motion."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag
from scipy.spatial.transform import Slerp

from ...body.motion.joint_angles import angle_rates
from ...body.parts import Joint
from ...calibration.magnetic.field_gate import FieldTrust
from ...estimator.initial.headings import start
from ...estimator.linearise import linearise
from ...estimator.problem.build import problem_of
from ...estimator.problem.problem import Problem
from ...estimator.problem.tie import Tie
from ...estimator.problem.unknowns import Body, State
from ...estimator.residuals.base import Linearised
from ...estimator.solver.marginal_covariance import posterior
from ...estimator.uncertainty.held_parameters import information_beforehand, with_constants
from ...estimator.uncertainty.joint_angles import joint_angle_sd
from ...recording.capture import Capture
from ...recording.keyframe_averages import HALF_WINDOW_S, Averages, averages
from ...simulation.settings import SimulationSettings
from ...simulation.simulate import Simulated
from ...weights import Weights
from .systematic_errors import (
    AXES,
    TISSUE,
    TissueEffect,
    at_keyframes,
    disturbed,
    second_derivative,
    tissue_effects,
    variances,
)

# m/s², what sampling at 100 Hz leaves between perfect units; tried: on simulated ones, 0.002 to 0.015
JOINT = 0.01
INTEGRATED = 0.02  # m/s²/√Hz, likewise of what is integrated into velocity; chosen; not tried
NO_UNIT = 1e-4  # rad, "mounting" of a segment that carries none; by reasoning: as good as none


@dataclass(frozen=True, eq=False)
class Truth:
    """The estimator's unknowns at the truth.

    Attributes
    ----------
    problem, state, body, average : see `estimate`
    trust : in magnetometers, by their readings alone
    bones : (K + 1, U, 3, 3) world_from_segment
    at : (K + 1,) s, keyframes, within the true times
    """

    problem: Problem
    state: State
    body: Body
    average: Averages
    trust: FieldTrust
    bones: np.ndarray
    at: np.ndarray


def weights_of(settings: SimulationSettings, mounting_sd: float) -> Weights:
    """The estimator's standard deviations where errors are those of simulated units."""
    return Weights(
        gyroscope=max(settings.gyroscope_noise_density / math.sqrt(2), math.radians(0.01)),  # random walk
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
    state, body, trust = start(problem)
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
    places = [at_keyframes(made.units[worn[segments[u]]].place, time, at) for u in problem.placed]
    position = np.stack(places, 1) if places else state.position
    state = replace(state, R=R, bias=bias, velocity=velocity, position=position)
    body = _true_body(made, problem, body, worn, mounting_sd)
    return Truth(problem, state, body, averages(problem.signals, problem.turns, R), trust, bones, at)


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
    units, time = state.R.shape[1], made.truth.time
    trust = _trust(made, truth)
    parts = with_constants(linearise(problem, state, body, average, trust), problem, state, body, average)
    known, allowed = information_beforehand(problem, body)
    soft = {u: effects[s] for u, s in enumerate(segments_of(problem)) if s in effects}
    felt = {u: _felt(effect, time, truth.at) for u, effect in soft.items()}
    names = [problem.ties[i].joint.name for i in body.joints]
    setting = (body, state, average, made.settings)
    parts = disturbed(parts, len(known), 6 * len(body.levers), felt, names, setting)
    own = 1 / variances(made.settings)
    prior = block_diag(known, np.diag(np.r_[np.tile(own[:TISSUE], units), np.tile(own[TISSUE:], units)]))
    allowed = np.r_[allowed, np.ones((TISSUE + AXES) * units, bool)]
    turn = np.zeros((len(truth.at), units, 3, TISSUE))
    for u, effect in soft.items():
        turn[:, u] = at_keyframes(effect.turn, time, truth.at)
    return _between_bones(parts, truth, np.asarray(prior), allowed, len(known), turn)


def _trust(made: Simulated, truth: Truth) -> FieldTrust:
    """In magnetometers whose headings are off, all the time, by what bias and distortion make of them."""
    level_field = max(made.field.norm * math.cos(made.field.dip), 1e-9)  # T
    level = math.hypot(made.settings.magnetometer_bias_sd, made.settings.magnetic_distortion) / level_field
    lasting, has = truth.at[-1] - truth.at[0], truth.problem.signals.has["magnetometer"]
    return truth.trust.with_level(np.full(truth.state.R.shape[1], level), lasting, has)


def _felt(effect: TissueEffect, time: np.ndarray, at: np.ndarray) -> dict[str, np.ndarray]:
    """Joint -> (K + 1, 3, 7) m/s² by which its force is off, per unit of each constant of the tissue."""
    return {
        name: at_keyframes(second_derivative(parted, time), time, at, averaged=True)
        for name, parted in effect.parted.items()
    }


def _between_bones(
    parts: Sequence[Linearised],
    truth: Truth,
    prior: np.ndarray,
    allowed: np.ndarray,
    first: int,
    turn: np.ndarray,
) -> np.ndarray:
    """(K + 1, J, 3, 3) rad², covariances by one pass of the smoother's factor."""
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


def clear_of_lock(joint: Joint, angles: Mapping[str, np.ndarray]) -> np.ndarray:
    """Where a joint's angles mean something: not next to gimbal lock.

    Parameters
    ----------
    joint : sequence, names and signs of its angles
    angles : angle name -> (T,) rad

    Returns
    -------
    (T,) bool array
    """
    raw = np.stack([angles[name] for name in joint.angles], -1) * np.array(joint.signs, float)
    return angle_rates(raw, joint.sequence)[1] > 0


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
    beyond = truth.at != truth.problem.signals.key_time  # a keyframe past the end, which nothing holds
    clear = clear_of_lock(joint, angles) & ~beyond
    sd = joint_angle_sd(joint, angles, sigma, np.arange(len(truth.at), dtype=float))
    return {n: float(np.sqrt(np.mean(v[clear] ** 2))) if clear.any() else math.nan for n, v in sd.items()}
