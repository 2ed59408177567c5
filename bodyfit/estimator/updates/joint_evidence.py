"""What joints tell of how units sit: axes that the motion shows, joints that do not turn, joint centres."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from ...alignment.evidence import Evidence, FixedTogether, KnownPlace, SharedAxis, SharedCentre
from ...alignment.joint_axis import Axis, axis_and_play, axis_by_heading, hinge_axis
from ...alignment.joint_centre import Ends, LeverPrior, heading_information, levers_from_rotations
from ...alignment.mounting import Held
from ...body.parts import Joint
from ...core.rotations import log, mean_rotation
from ...recording.keyframe_averages import Averages
from ..problem.problem import DETERMINED, Problem
from ..problem.tie import Tie

HINGE_PLAY = np.radians(3.0)  # of a hinge that nothing is known about yet; chosen; not tried
RIGHT = np.array([0.0, 0.0, 1.0])
FLEXION_PLAY = np.radians(5.0)  # least play of a joint of people about its flexion axis; chosen; not tried
WIDE_LEVER = 10.0  # m, prior of a lever arm that the motion alone has to show; by reasoning: next to nothing
LARGEST_HEADING = np.radians(30.0)  # more says nothing; chosen; not tried


def of_axes(
    problem: Problem,
    freed: np.ndarray,
    held: Sequence[Held],
    axes: Mapping[int, Axis],
    play: Mapping[int, float],
    heading: Mapping[int, float],
) -> list[Evidence]:
    """Axes that the motion shows and whose place in the segments the model tells: hinges and knees.

    Parameters
    ----------
    problem : what is given
    freed : (K + 1, U, 3, 3) world_from_unit, freed from the elastic part of the mounting
    held : poses
    axes : hinges that the motion shows, tie -> axis
    play : tie -> rad, of those hinges
    heading : tie -> rad², from `heading_variance`

    Returns
    -------
    list of SharedAxis
    """
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
            inside = freed[inside_of(problem.signals.key_time, start, end)]
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


def of_fixed(problem: Problem, freed: np.ndarray) -> list[Evidence]:
    """Joints that do not turn.

    Parameters
    ----------
    problem : what is given
    freed : (K + 1, U, 3, 3) world_from_unit

    Returns
    -------
    list of FixedTogether
    """
    out: list[Evidence] = []
    for tie in problem.ties:
        if tie.joint.type == "fixed" and problem.both_measured(tie):
            relative = np.swapaxes(freed[:, tie.parent], -1, -2) @ freed[:, tie.child]
            sd = np.hypot(problem.weights.hinge_declared, problem.weights.heading_error)
            out.append(FixedTogether((tie.parent, tie.child), mean_rotation(relative[:, None])[0], float(sd)))
    return out


def of_centres(
    problem: Problem,
    average: Averages,
    ends: Ends,
    ties: Sequence[int],
    levers: np.ndarray,
    joint_sd: np.ndarray,
) -> list[Evidence]:
    """Joint centres that the model knows, against lever arms that the motion alone shows.

    Parameters
    ----------
    problem : what is given
    average : force and lever matrices at the keyframes
    ends, ties : of J joints
    levers : (J, 2, 3) m
    joint_sd : (J,) m/s²

    Returns
    -------
    list of SharedCentre, and of KnownPlace for units whose place was stated
    """
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


def heading_variance(
    problem: Problem,
    average: Averages | None,
    joints: tuple[Ends, Sequence[int], np.ndarray, np.ndarray] | None,
) -> dict[int, float]:
    """Tie -> rad², of the child's heading against the parent's as far as their joint shows it.

    Parameters
    ----------
    problem : what is given
    average, joints : averages, and (ends, ties, lever arms, m/s² of disagreement); None: not known yet

    Returns
    -------
    tie -> rad², at most that of 30°
    """
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


def inside_of(time: np.ndarray, start: float, end: float) -> np.ndarray:
    """Keyframes in a stretch of time; the nearest where it lies between two, never another.

    Parameters
    ----------
    time : (K + 1,) s
    start, end : s

    Returns
    -------
    (K + 1,) bool
    """
    inside = (time >= start) & (time <= end)
    if not inside.any() and time[0] <= start and end <= time[-1]:
        inside[np.argmin(np.abs(time - 0.5 * (start + end)))] = True
    return inside
