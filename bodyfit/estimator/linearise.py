"""Every residual of a problem at its current estimate: the first layer, then what the body adds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..alignment.compliance import elastic_turns
from ..alignment.joint_centre import joint_forces
from ..alignment.mounting import segment_rotations
from ..body.motion.joint_angles import beyond_range, wrap
from ..calibration.magnetic.field_gate import FieldTrust
from ..recording.keyframe_averages import Averages
from ..recording.signals import Signals
from .problem.chain_prior import prior_of_arms
from .problem.posture_prior import Postures, of_directions
from .problem.problem import Problem
from .problem.tie import angles_of
from .problem.unknowns import Body, State
from .residuals.base import Linearised
from .residuals.bias import bias_level, bias_walk
from .residuals.chain_closure import bridge
from .residuals.field import field_heading, field_vector
from .residuals.gravity import gravity, velocity_gain, velocity_level
from .residuals.hinge import hinge
from .residuals.initial_rotation import rotation_at_start
from .residuals.joint_angle import joint_angle
from .residuals.joint_centre import joint_centre
from .residuals.posture import held_pose, posture
from .residuals.reported_orientation import fused_orientation
from .residuals.sole import sole_level
from .residuals.travel import position_at_start, travel
from .residuals.turn_rate import turn_rate


def linearise(
    problem: Problem,
    state: State,
    body: Body,
    average: Averages,
    trust: FieldTrust,
    first: bool = False,
    north: bool | None = None,
) -> list[Linearised]:
    """Every residual at the current estimate; the second layer's come last.

    Parameters
    ----------
    problem, state, body, average, trust : what is given and found so far, or the same piece of all
    first : joint-centre agreement is loose, the start headings being rough
    north : of a piece: whether a field is trusted anywhere in the whole; None: this is the whole

    Returns
    -------
    list of Linearised
    """
    north = bool(trust.trusted.any()) if north is None else north
    parts = _of_units(problem, state, average, trust, north)
    if problem.ties:
        parts += _of_body(problem, state, body, average, first)
    return [part for part in parts if part.value.size]


def _of_units(
    problem: Problem, state: State, average: Averages, trust: FieldTrust, north: bool
) -> list[Linearised]:
    """First layer: what each unit says by itself."""
    signals, turns, w = problem.signals, problem.turns, problem.weights
    U, step = len(signals.units), signals.key_step
    swaying, turn = problem.swaying, turns.whole
    parts = [
        turn_rate(state.R, state.bias, turn, turns.by_bias * _heard(signals), problem.turn_variance),
        bias_walk(state.bias, w.bias_walk**2 * np.diff(signals.key_time)),
        bias_level(state.bias, np.zeros(3), _bias_variance(problem, len(state.R))),
        _rest(problem, state),
        *_at_start(problem, rotation_at_start(len(state.R), _start_sd(problem, north))),
        gravity(average.force, problem.g, w.acceleration, problem.alike(w.acceleration_s), average.known),
        velocity_gain(
            average.force,
            state.velocity[:, : len(swaying)],
            problem.g,
            step,
            w.accelerometer,
            average.known,
            swaying,
            2 * U,
        ),
        velocity_level(state.velocity, w.speed, problem.alike(w.speed_s), 2 * U),
    ]
    return parts + _of_fields(problem, average, trust) + _of_orientations(problem, state)


# m, where a unit is when it starts: of all bridges together, only differences show; by reasoning: further
# than any body reaches
ANYWHERE = 10.0


def _of_bridges(problem: Problem, state: State, body: Body) -> list[Linearised]:
    """Where units go, and that segments without one lie between them."""
    placed, w, travelled = problem.placed, problem.weights, problem.travels
    if not len(placed):
        return []
    first = 2 * state.R.shape[1] + state.velocity.shape[1]
    places = first + np.arange(len(placed))
    parts = travel(
        state.R[:, placed],
        state.velocity[:, len(problem.swaying) :],
        state.position,
        travelled.gain,
        travelled.way,
        travelled.known,
        problem.g,
        problem.signals.key_step,
        w.travel,
        (placed, places - len(placed), places),
    )
    parts += _at_start(problem, position_at_start(state.position, ANYWHERE, places))
    number = {unit: e for e, unit in enumerate(placed)}
    which = {key: a for a, key in enumerate(prior_of_arms(problem, body.mounting).keys)}
    for one in problem.bridges:
        near, far = number[one.units[0]], number[one.units[-1]]
        at = [len(problem.postures.ends) + which[key] for key in one.arms]
        parts.append(
            bridge(
                state.R[:, one.units],
                body.inferred[at],
                (state.position[:, near], state.position[:, far]),
                one.units,
                at,
                (places[near], places[far]),
                w.bridge,
                problem.alike(w.bridge_s),
            )
        )
    return parts


def _of_fields(problem: Problem, average: Averages, trust: FieldTrust) -> list[Linearised]:
    """Magnetometers: a heading where inclination is known otherwise, else the whole vector."""
    has, w = problem.signals.has, problem.weights
    heads, whole = (
        np.flatnonzero(units & has["magnetometer"]) for units in (problem.levelled, ~problem.levelled)
    )
    sd, seconds = trust.spread(w.field, w.field_s)
    alike = problem.alike(w.field_s)
    north = np.array([np.cos(trust.dip), -np.sin(trust.dip), 0.0])
    turning = len(whole) and has["gyroscope"][whole].all()  # without, each reading stands for itself
    return [
        field_heading(
            average.field[:, heads],
            heads,
            sd[:, heads],
            np.maximum(1.0, seconds[:, heads] / problem.signals.key_step),
            trust.trusted[:, heads],
        ),
        field_vector(
            average.field[:, whole], north, whole, w.field, alike if turning else 1.0, trust.trusted[:, whole]
        ),
    ]


def _of_orientations(problem: Problem, state: State) -> list[Linearised]:
    """Orientations fused on the units."""
    signals, w = problem.signals, problem.weights
    if signals.attitude is None:
        return []
    at, alike = np.flatnonzero(signals.has["orientation"]), problem.alike(w.fused_s)
    measured = signals.attitude[:: signals.per_key, at]
    correlated = np.array([alike, signals.all_keyframes, alike])
    part = fused_orientation(state.R[:, at], measured, at, w.fused_inclination, w.fused_heading, correlated)
    known = signals.known["orientation"][:: signals.per_key, at]
    return [replace(part, weight=part.weight * known[..., None])]


def _heard(signals: Signals) -> np.ndarray:
    """(1, U, 1, 1) one where there is a gyroscope whose bias matters."""
    turning = signals.has["gyroscope"] | signals.has["orientation"]
    return turning.astype(float)[None, :, None, None]


def _bias_variance(problem: Problem, keyframes: int) -> np.ndarray:
    """(K + 1, U) (rad/s)²: known at the start only."""
    out = np.full((keyframes, len(problem.signals.units)), np.inf)
    if problem.signals.first == 0:
        out[0] = problem.weights.bias_at_start**2
    return out


def _at_start(problem: Problem, part: Linearised) -> list[Linearised]:
    """What holds at the first keyframe only; nothing in later pieces."""
    return [part] if problem.signals.first == 0 else []


def _rest(problem: Problem, state: State) -> Linearised:
    """Units at rest read their bias."""
    seen, sd = problem.signals.rest_rate, problem.signals.rest_sd
    known = np.all(np.isfinite(seen), axis=-1)
    variance = np.where(known, sd**2, np.inf)
    return bias_level(state.bias, np.where(known[..., None], seen, 0.0), variance)


def _start_sd(problem: Problem, north: bool) -> np.ndarray:
    """(U, 3) rad: the root's heading defines the world's where no trusted field does."""
    sd = np.full((len(problem.signals.units), 3), problem.weights.rotation_at_start)
    if not north:
        sd[problem.root, 1] = 1e-3
    return sd


def _of_body(problem: Problem, state: State, body: Body, average: Averages, first: bool) -> list[Linearised]:
    """Second layer: what the body says."""
    w, ends = problem.weights, body.ends
    parent, child = joint_forces(average, ends, body.levers)
    known = average.known[:, ends.parents] & average.known[:, ends.children]
    sd = np.maximum(body.joint_sd, w.joint_at_start) if first else body.joint_sd
    parts = [joint_centre(parent, child, ends.parents, ends.children, sd, problem.alike(w.joint_s), known)]
    freed = state.R @ elastic_turns(body.elastic, state.R, average.force)
    if body.axes:
        at = list(body.axes)
        parts.append(
            hinge(
                freed,
                np.array([problem.ties[i].parent for i in at]),
                np.array([problem.ties[i].child for i in at]),
                np.array([body.axes[i].directions for i in at]),
                np.array([body.hinge_sd[i] for i in at]),
                problem.alike(w.hinge_s),
            )
        )
    parts += _of_angles(problem, freed, body)
    parts += _of_postures(problem, state, body) + _of_soles(problem, state, body)
    parts += _of_poses(problem, state, body)
    return parts + _of_bridges(problem, state, body)


def _postures(problem: Problem, body: Body) -> Postures:
    """What is usual beside segments without a unit, as far as how units face lets it tell."""
    if body.facing is None or not len(problem.postures.ends):
        return problem.postures
    return of_directions(problem.postures, body.facing.doubtful)


def _of_postures(problem: Problem, state: State, body: Body) -> list[Linearised]:
    """Joints beside segments without a unit; none: no part."""
    known, w = _postures(problem, body), problem.weights
    if not len(known.ends):
        return []
    kept = float(np.exp(-problem.signals.key_step / w.posture_s))
    mounting = body.mounting.segment_from_unit
    parents, children = known.ends.T
    offset = body.inferred[: len(known.ends)]
    posed = problem.in_pose(w.posture_s)[:, None] & problem.posed[known.ends].all(1)
    posed = posed | body.seated if body.seated.size else posed  # none before that is known
    usual = known.usual, known.whiten, offset
    start, changes = posture(state.R, mounting, parents, children, *usual, kept, posed, known.directions)
    return [*_at_start(problem, start), changes]


def _of_poses(problem: Problem, state: State, body: Body) -> list[Linearised]:
    """Declared poses, where some segments carry no unit: where all do, joints say more of how they face.

    A mounting that was found from a pose says nothing of it; segments without a unit have none.
    """
    there = np.flatnonzero(problem.posed & problem.measured)
    if not len(problem.postures.ends) or not len(there):
        return []
    against = int(there[np.argmax(problem.stated[there])])  # the first that is stated, else the first
    told = np.flatnonzero(problem.posed & (problem.stated | ~problem.measured))
    units, mounting, signals = told[told != against], body.mounting.segment_from_unit, problem.signals
    return [
        held_pose(
            state.R,
            mounting,
            against,
            units,
            pose.segments,
            np.hypot(pose.sd[units], pose.sd[against]),
            pose.holds(signals.key_time) / max(1, np.count_nonzero(pose.holds(signals.all_key_time))),
        )
        for pose in problem.held
    ]


def _of_soles(problem: Problem, state: State, body: Body) -> list[Linearised]:
    """Feet without a unit, where they stand; none before that is known."""
    if not body.standing.size:
        return []
    w, feet = problem.weights, problem.soles[:, 2]
    mounting = body.mounting.segment_from_unit
    return [sole_level(state.R, mounting, feet, body.standing, w.sole, problem.alike(w.sole_s))]


def _of_angles(problem: Problem, freed: np.ndarray, body: Body) -> list[Linearised]:
    """Joint ranges, one-sided, and stiffness about neutral, which counts once per capture."""
    w = problem.weights
    segments, parts = segment_rotations(freed, body.mounting), []
    for i, range_holds in body.range_holds.items():
        tie = problem.ties[i]
        joint, parent = tie.joint, segments[:, tie.parent]
        angles, signs = angles_of(tie, segments), np.array(joint.signs, float)
        common = (angles * signs, joint.sequence, signs, tie.parent, tie.child)
        if joint.range:
            sd, excess = np.where(range_holds, w.range_, np.inf), beyond_range(joint, angles)
            parts.append(joint_angle("joint range", parent, excess, *common, sd, problem.alike(w.angle_s)))
        if joint.stiffness and problem.both_measured(tie):
            stiff = np.array([joint.stiffness.get(name, np.inf) for name in joint.angles])
            # what a person's own neutral differs by does not average out over the capture
            sd, whole = np.hypot(stiff, w.offset), float(problem.signals.all_keyframes)
            parts.append(joint_angle("joint stiffness", parent, angles, *common, sd, whole))
    return parts + _of_stiff_postures(problem, segments)


def _of_stiff_postures(problem: Problem, segments: np.ndarray) -> list[Linearised]:
    """Angles beside bare segments that hardly move: knees and elbows bend in a plane."""
    known, parts = problem.postures, []
    alike = problem.alike(problem.weights.stiff_s)
    for i, usual, sd in zip(known.ties, known.angles, known.stiff, strict=True):
        if not np.isfinite(sd).any():
            continue
        tie, signs = problem.ties[i], np.array(problem.ties[i].joint.signs, float)
        angles, parent = angles_of(tie, segments), segments[:, tie.parent]
        common = (angles * signs, tie.joint.sequence, signs, tie.parent, tie.child)
        parts.append(joint_angle("stiff posture", parent, wrap(angles - usual), *common, sd, alike))
    return parts
