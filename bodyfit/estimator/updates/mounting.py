"""How units sit, from all that a capture holds: given mountings, held poses, joint axes, joint centres."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from ...alignment.evidence import (
    Evidence,
    FixedTogether,
    GivenMounting,
    HeldPose,
    KnownPlace,
    SharedAxis,
    SharedCentre,
)
from ...alignment.facing.evidence import HeldLevel, facing_evidence, with_senses
from ...alignment.facing.known import Facing
from ...alignment.fusion import Fused, fuse
from ...alignment.joint_axis import Axis, axis_and_play, axis_by_heading, hinge_axis
from ...alignment.joint_centre import Ends, LeverPrior, heading_information, levers_from_rotations
from ...alignment.mounting import Held, Mounting, still_pose
from ...body.parts import Joint
from ...core.rotations import log, mean_rotation
from ...recording.keyframe_averages import Averages
from ..problem.problem import DETERMINED, Problem
from ..problem.tie import Tie

HINGE_PLAY = np.radians(3.0)  # of a hinge that nothing is known about yet; chosen; not tried
RIGHT = np.array([0.0, 0.0, 1.0])
FLEXION_PLAY = np.radians(5.0)  # least play of a joint of people about its flexion axis; chosen; not tried
WIDE_LEVER = 10.0  # m, prior of a lever arm that the motion alone has to show; by reasoning: next to nothing
ASSUMED = np.radians(60.0)  # nobody said that the body was in that pose; by reasoning: next to nothing
LARGEST_HEADING = np.radians(30.0)  # more says nothing; chosen; not tried
# by reasoning: as good as none, a segment without a unit has no mounting that could be off
NO_UNIT = np.radians(0.1)
NEVER_STILL = 1e3  # rad/s, where nothing was measured; by reasoning: more than anything turns


def calibrated(
    problem: Problem,
    freed: np.ndarray,
    axes: Mapping[int, Axis] | None,
    play: Mapping[int, float] | None = None,
    average: Averages | None = None,
    joints: tuple[Ends, Sequence[int], np.ndarray, np.ndarray] | None = None,
    facing: Facing | None = None,
) -> Mounting:
    """Mounting of all units from everything that tells of it.

    Parameters
    ----------
    problem : what is given
    freed : (K + 1, U, 3, 3) world_from_unit, freed from the elastic part of the mounting
    axes : hinges that the motion shows, tie -> axis; None: headings are not known yet, so no joint counts
    play : tie -> rad, of those hinges
    average, joints : averages, and (ends, ties, lever arms, m/s² of disagreement) for joint centres; None:
        lever arms are not known yet
    facing : how units face whose pose is parted from the motion; None: the pose itself tells

    Returns
    -------
    Mounting
    """
    held = _held(problem)
    evidence: list[Evidence] = _given(problem)
    evidence += _of_poses(problem, freed, held, axes is not None, facing)
    if axes is not None:
        heading = _heading_variance(problem, average, joints)
        evidence += _of_axes(problem, freed, held, axes, play or {}, heading)
        evidence += _of_fixed(problem, freed)
        if average is not None and joints is not None:
            evidence += _of_centres(problem, average, *joints)
    if facing is not None:
        evidence = [*with_senses(evidence, facing), *facing_evidence(facing)]
    fused = fuse(evidence, freed.shape[1], len(held))
    return _mounting(problem, held, fused)


def _mounting(problem: Problem, held: Sequence[Held], fused: Fused) -> Mounting:
    """What was fused, unit by unit."""
    U = len(fused.covariance)
    told: list[dict[str, float]] = [{} for _ in range(U)]
    for e, weight in zip(fused.evidence, fused.weight, strict=True):
        for unit in e.units:
            if e.source:
                told[unit][e.source] = max(weight, told[unit].get(e.source, 0.0))
    sources = tuple(", ".join(names) if problem.measured[u] else "no unit" for u, names in enumerate(told))
    pose = (held[0].start, held[0].end) if held else None
    M, covariance = fused.guess.mounting, fused.covariance
    return Mounting(M, covariance, sources, pose, _facing(problem, fused), tuple(held), fused)


def _facing(problem: Problem, fused: Fused) -> str:
    """Where it is known from which way the body faced."""
    if any(e.source == "given" and problem.measured[e.units[0]] for e in fused.evidence if e.units):
        return "mounting given"
    if any(isinstance(e, SharedAxis) for e in fused.evidence):
        return "joint axes"
    return "usual posture" if any(e.source == "usual posture" for e in fused.evidence) else "unknown"


def _given(problem: Problem) -> list[Evidence]:
    """Mountings stated with the capture; a segment without a unit is its own unit."""
    sd = np.where(problem.measured, problem.weights.mounting, NO_UNIT)
    return [
        GivenMounting(u, Rotation.from_quat(q).as_matrix(), float(sd[u]), shared=bool(problem.measured[u]))
        for u, q in enumerate(problem.given_mounting)
        if q is not None
    ]


def _held(problem: Problem) -> list[Held]:
    """Poses that are declared, else one that is assumed where a mounting is missing."""
    if problem.held or all(given is not None for given in problem.given_mounting):
        return list(problem.held)
    signals = problem.signals
    rate = np.linalg.norm(signals.rate[:: signals.per_key], axis=-1)
    rate[1:][signals.lost] = rate[:-1][signals.lost] = NEVER_STILL
    start, end = still_pose(signals.key_time, rate)
    U = len(signals.units)
    neutral = np.broadcast_to(np.eye(3), (U, 3, 3))
    return [Held("neutral", start, end, neutral, np.full((U, 3), ASSUMED), False)]


def _inside(time: np.ndarray, start: float, end: float) -> np.ndarray:
    """(K + 1,) bool, keyframes in a stretch of time; the nearest where it lies between two, never another."""
    inside = (time >= start) & (time <= end)
    if not inside.any() and time[0] <= start and end <= time[-1]:
        inside[np.argmin(np.abs(time - 0.5 * (start + end)))] = True
    return inside


def _of_poses(
    problem: Problem, freed: np.ndarray, held: Sequence[Held], settled: bool, facing: Facing | None
) -> list[Evidence]:
    """Every unit in every pose; one that turns meanwhile says less, and units' headings have errors."""
    out: list[Evidence] = []
    w, time = problem.weights, problem.signals.key_time
    for index, pose in enumerate(held):
        inside = _inside(time, pose.start, pose.end)
        if not inside.any():
            continue
        seeing = [
            u for u in map(int, np.flatnonzero(problem.measured)) if problem.watched((u,))[inside].any()
        ]
        R = freed[inside]
        mean = mean_rotation(R)
        turned = log(R @ np.swapaxes(mean, -1, -2))
        moved = np.sqrt(np.mean(np.square(turned), axis=0))
        heading = w.heading_error if settled else w.heading_at_start
        sd = np.sqrt(pose.sd**2 + moved**2 + np.array([0.0, heading**2, 0.0]))
        for u in seeing:
            common = _pose_source(pose), float(np.sum(moved[u] ** 2))
            if facing is not None and facing.told[u]:
                tilt = float(np.sqrt(np.mean(sd[u, [0, 2]] ** 2)))
                out.append(HeldLevel(index, u, mean[u, 1], pose.segments[u, 1], tilt, *common))
            else:
                out.append(HeldPose(index, u, mean[u], pose.segments[u], sd[u], *common))
    return out


def _pose_source(pose: Held) -> str:
    return "still pose" if pose.declared else "still pose assumed"


def _of_axes(
    problem: Problem,
    freed: np.ndarray,
    held: Sequence[Held],
    axes: Mapping[int, Axis],
    play: Mapping[int, float],
    heading: Mapping[int, float],
) -> list[Evidence]:
    """Axes that the motion shows and whose place in the segments the model tells: hinges and knees."""
    out: list[Evidence] = []
    w, has = problem.weights, problem.signals.has
    turning = has["gyroscope"] | has["orientation"]  # without, rotations are too rough for axes
    for i, tie in enumerate(problem.ties):
        if not (problem.both_measured(tie) and turning[tie.parent] and turning[tie.child]):
            continue
        relative = np.swapaxes(freed[:, tie.parent], -1, -2) @ freed[:, tie.child]
        seen = relative[problem.watched((tie.parent, tie.child))]
        if tie.joint.type == "hinge" and tie.joint.axis is not None and i in axes:
            sd = play.get(i, HINGE_PLAY)
            found = hinge_axis(seen, sd, problem.alike(w.hinge_s), None, 1.0)
            found = _with_heading(found, freed, tie, heading.get(i, 0.0))
            true = tie.joint.axis / np.linalg.norm(tie.joint.axis)
            off = (w.hinge_declared, sd)
            axis = _line(tie, found, true, off, "joint axis")
        elif tie.joint.flexes_only:
            found, sd = axis_and_play(seen, FLEXION_PLAY, problem.alike(w.hinge_s), FLEXION_PLAY / 2)
            found = _with_heading(found, freed, tie, heading.get(i, 0.0))
            off = _of_bones(w.flexion_axis, sd)
            axis = _line(tie, found, RIGHT, off, "flexion axis")
        else:
            continue
        if found.sd <= DETERMINED:
            out.append(_sensed(problem, tie, axis, relative, _rest(problem, held, relative)))
    for i, start, end in problem.movements:
        tie = problem.ties[i]
        if problem.both_measured(tie):
            inside = freed[_inside(problem.signals.key_time, start, end)]
            relative = np.swapaxes(inside[:, tie.parent], -1, -2) @ inside[:, tie.child]
            least = w.hinge_least if tie.joint.type == "hinge" else FLEXION_PLAY / 2
            found, beside = axis_and_play(relative, FLEXION_PLAY, problem.alike(w.hinge_s), least)
            true = RIGHT if tie.joint.axis is None else tie.joint.axis / np.linalg.norm(tie.joint.axis)
            off = (w.hinge_declared, beside)
            if tie.joint.axis is None:
                off = _of_bones(w.movement_axis, beside)
            if found.sd <= DETERMINED:
                axis = _line(tie, found, true, off, "movement")
                out.append(_sensed(problem, tie, axis, relative, relative[0]))
    return out


def _heading_variance(
    problem: Problem,
    average: Averages | None,
    joints: tuple[Ends, Sequence[int], np.ndarray, np.ndarray] | None,
) -> dict[int, float]:
    """Tie -> rad², of the child's heading against the parent's as far as their joint shows it."""
    if average is None or joints is None or not len(joints[1]):
        return {}
    ends, ties, levers, sd = joints
    wide = LeverPrior(np.zeros(6 * len(ties)), np.eye(6 * len(ties)) / problem.weights.lever**2)
    _, free = heading_information(average, ends, levers, sd, problem.alike(problem.weights.joint_s), wide)
    return {i: float(min(1 / x, LARGEST_HEADING**2)) for i, x in zip(ties, free, strict=True)}


def _with_heading(axis: Axis, freed: np.ndarray, tie: Tie, variance: float) -> Axis:
    """The axis as uncertain as a heading between its two units makes it: a steady one passes for mounting."""
    turn = axis_by_heading(freed[:, tie.parent], freed[:, tie.child])
    return dataclasses.replace(axis, covariance=axis.covariance + variance * np.outer(turn, turn))


def _of_bones(sd: float, play: float) -> tuple[float, float]:
    """How far a joint's axis lies from both bones' frames alike, and from either by itself: half and half."""
    return sd / np.sqrt(2), float(np.hypot(sd / np.sqrt(2), play))


def _line(tie: Tie, found: Axis, true: np.ndarray, sd: tuple[float, float], source: str) -> SharedAxis:
    """An axis as evidence, its sense still open."""
    return SharedAxis(
        (tie.parent, tie.child), found.directions, found.covariance, true, np.array(sd), False, source
    )


def _sensed(
    problem: Problem, tie: Tie, axis: SharedAxis, relative: np.ndarray, rest: np.ndarray
) -> SharedAxis:
    """The axis, its sense settled by a given mounting or by the side of `rest` on which the joint moves."""
    directions, signed = axis.seen, False
    stated = [(s, problem.given_mounting[u]) for s, u in enumerate(axis.units)]
    known = [(s, q) for s, q in stated if q is not None]
    if known:
        side, quaternion = known[0]
        along = float(Rotation.from_quat(quaternion).apply(directions[side]) @ axis.axis)
        directions, signed = (directions if along > 0 else -directions), abs(along) > 0.5
    if not signed:
        directions, signed = _oriented(directions, relative, rest, tie.joint)
    return dataclasses.replace(axis, seen=directions, signed=signed)


def _rest(problem: Problem, held: Sequence[Held], relative: np.ndarray) -> np.ndarray:
    """(3, 3) the joint as it is in the neutral pose, or at the start where none is known."""
    if len(relative) != len(problem.signals.key_time):
        return relative[0]
    neutral = [h for h in held if h.pose == "neutral"]
    middle = 0.5 * (neutral[0].start + neutral[0].end) if neutral else -np.inf
    return relative[np.argmin(np.abs(problem.signals.key_time - middle))] if neutral else relative[0]


def _oriented(
    directions: np.ndarray, relative: np.ndarray, rest: np.ndarray, joint: Joint
) -> tuple[np.ndarray, bool]:
    """Axis turned so that the joint mostly moves to the side on which its range is wide."""
    low, high = joint.range.get(joint.angles[0], (0.0, 0.0)) if joint.range else (0.0, 1.0)
    about = log(rest.T @ relative) @ directions[1]
    side = np.sign(np.mean(about) * (low + high)) * joint.signs[0]
    told = bool(side != 0 and low + high != 0) and not (joint.type == "hinge" and not joint.range)
    return (directions * side if side != 0 else directions), told


def _of_fixed(problem: Problem, freed: np.ndarray) -> list[Evidence]:
    """Joints that do not turn."""
    out: list[Evidence] = []
    for tie in problem.ties:
        if tie.joint.type == "fixed" and problem.both_measured(tie):
            relative = np.swapaxes(freed[:, tie.parent], -1, -2) @ freed[:, tie.child]
            sd = np.hypot(problem.weights.hinge_declared, problem.weights.heading_error)
            out.append(FixedTogether((tie.parent, tie.child), mean_rotation(relative[:, None])[0], float(sd)))
    return out


def _of_centres(
    problem: Problem,
    average: Averages,
    ends: Ends,
    ties: Sequence[int],
    levers: np.ndarray,
    joint_sd: np.ndarray,
) -> list[Evidence]:
    """Joint centres that the model knows, against lever arms that the motion alone shows."""
    centres = [_centres(problem.ties[i].joint) for i in ties]
    if not any(np.isfinite(c).any() for c in centres):
        return []
    n, w = 6 * len(levers), problem.weights
    wide = LeverPrior(np.zeros(n), np.eye(n) / WIDE_LEVER**2)
    found, covariance = levers_from_rotations(average, ends, levers, joint_sd, problem.alike(w.joint_s), wide)
    out: list[Evidence] = []
    turning = problem.signals.has["gyroscope"] | problem.signals.has["orientation"]
    for j, (i, centre) in enumerate(zip(ties, centres, strict=True)):
        tie, own = problem.ties[i], slice(6 * j, 6 * j + 6)
        if np.isfinite(centre).any() and turning[tie.parent] and turning[tie.child]:
            out.append(
                SharedCentre(
                    (tie.parent, tie.child), found[j], covariance[own, own], centre, w.joint_centre_given
                )
            )
    for unit, place in enumerate(problem.places):
        stated = place is not None and np.trace(place[1]) <= 3.01 * w.position**2  # else a guess: too rough
        if place is not None and stated and problem.measured[unit]:
            out.append(KnownPlace(unit, *place))
    return out


def _centres(joint: Joint) -> np.ndarray:
    """(2, 3) m, in parent and child; NaN where the model does not say. The child's is its origin.

    Centres scaled from a stature are left out: with soft tissue's error in the arms they turn units by more
    than people are off who state a mounting (tried).
    """
    unknown = np.full(3, np.nan)
    if joint.centre_in_parent_of_stature is not None:
        return np.stack([unknown, unknown])
    if joint.centre_in_parent is None:
        return np.stack([unknown, unknown if joint.centre_in_child is None else joint.centre_in_child])
    child = np.zeros(3) if joint.centre_in_child is None else joint.centre_in_child
    return np.stack([joint.centre_in_parent, child])
