"""What stays the same during a capture, given the rotations: lever arms, axes, softness, mounting, ranges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from .averages import Averages
from .body import Joint
from .geometry import (
    Axis,
    Ends,
    LeverPrior,
    elastic_mounting,
    elastic_turns,
    hinge_axis,
    joint_forces,
    lever_prior,
    levers_from_rotations,
    robust_sd,
)
from .linearise import angles_of, beyond_range, segment_rotations
from .mounting import FlexionAxis, Mounting, calibrate_mounting, still_pose
from .problem import DETERMINED, Body, Problem, State, Tie
from .rotations import apply, log

HINGES_FROM = 3  # iteration from which hinges and joint angles count: by then rotations are about right
TIGHT_HINGE = np.radians(1.0)  # play beside the elastic mounting above which a hinge is loose
HINGE_PLAY = np.radians(3.0)  # of a hinge that nothing is known about yet
AXIS_DECLARED_SD = np.radians(5.0)  # how far a given mounting usually is off
NEVER_STILL = 1e3  # rad/s, where nothing was measured
OUTSIDE_RAD, OUTSIDE_SHARE = np.radians(5.0), 0.02  # a range exceeded that far, that often, is not believed


def refine(problem: Problem, state: State, body: Body, average: Averages, iteration: int) -> Body:
    """What stays the same, given the rotations.

    Parameters
    ----------
    problem, state, body, average : what is given and found so far
    iteration : axes, softness and mounting wait until rotations are about right

    Returns
    -------
    Body
    """
    if not problem.ties:
        return replace(body, mounting=calibrated(problem, state.R, {}))
    w, alike = problem.weights, problem.alike(problem.weights.joint_s)
    prior = prior_of_levers(problem, body.ends, body.joints, body.mounting)
    levers, covariance = levers_from_rotations(average, body.ends, body.levers, body.joint_sd, alike, prior)
    parent, child = joint_forces(average, body.ends, levers)
    joint_sd = robust_sd(parent - child, w.joint_least) if len(levers) else body.joint_sd
    body = replace(body, levers=levers, lever_covariance=covariance, joint_sd=joint_sd)
    if iteration < HINGES_FROM:
        return body
    axes, hinge_sd, elastic = body.axes, body.hinge_sd, body.elastic
    for _ in range(2 if iteration == HINGES_FROM else 1):  # axes and softness show each other
        freed = state.R @ elastic_turns(elastic, state.R, average.force)
        axes, hinge_sd = _hinges(problem, freed, body)
        elastic = _elastic(problem, state, average, axes, hinge_sd) if axes else elastic
    freed = state.R @ elastic_turns(elastic, state.R, average.force)
    mounting = calibrated(problem, freed, axes)
    holds = _ranges_that_hold(problem, freed, mounting)
    return replace(body, axes=axes, hinge_sd=hinge_sd, elastic=elastic, mounting=mounting, range_holds=holds)


def _elastic(
    problem: Problem,
    state: State,
    average: Averages,
    axes: Mapping[int, Axis],
    hinge_sd: Mapping[int, float],
) -> np.ndarray:
    """Elastic mounting from tight hinges; a loose one can't tell its own play from softness."""
    w, at = problem.weights, list(axes)
    watched = _watched(problem, range(state.R.shape[1]))
    R, force = state.R[watched], average.force[watched]
    ends = Ends(np.array([[tie.parent, tie.child] for tie in problem.ties]))

    def solved(hinges: list[int]) -> np.ndarray:
        directions = np.array([axes[i].directions for i in hinges]).reshape(-1, 2, 3)
        sd = np.array([hinge_sd[i] for i in hinges])
        alike = problem.alike(w.hinge_s)
        return elastic_mounting(
            R,
            force,
            ends,
            np.array(hinges, int),
            directions,
            sd,
            alike,
            w.elastic_common,
            w.elastic_own,
        )

    def play(i: int, elastic: np.ndarray) -> float:
        two = [problem.ties[i].parent, problem.ties[i].child]
        freed = R[:, two] @ elastic_turns(elastic[two], R[:, two], force[:, two])
        relative = np.swapaxes(freed[:, 0], -1, -2) @ freed[:, 1]
        axis = hinge_axis(relative, hinge_sd[i], 1.0, None, 1.0).directions
        return float(robust_sd((apply(relative, axis[1]) - axis[0])[:, None], 0.0)[0])

    tight = [i for i in at if play(i, solved([i])) < TIGHT_HINGE]
    return solved(tight) if tight else np.zeros((state.R.shape[1], 3, 3))


def _watched(problem: Problem, units: Sequence[int]) -> np.ndarray:
    """(K + 1,) bool, keyframes that lie in no long gap of these units."""
    lost = problem.signals.lost[:, list(units)].any(1)
    out = ~(np.r_[False, lost] & np.r_[lost, False])
    return out if out.any() else ~out


def _hinges(problem: Problem, freed: np.ndarray, body: Body) -> tuple[dict[int, Axis], dict[int, float]]:
    """Axis and play of every hinge whose motion, or whose model, shows them."""
    w, axes, play = problem.weights, {}, {}
    for i, tie in enumerate(problem.ties):
        if tie.joint.type != "hinge" or not problem.both_measured(tie):
            continue
        at = freed[_watched(problem, (tie.parent, tie.child))]
        relative = np.swapaxes(at[:, tie.parent], -1, -2) @ at[:, tie.child]
        declared, alike = _declared(tie, body.mounting), problem.alike(w.hinge_s)
        sd = body.hinge_sd.get(i, HINGE_PLAY)
        for _ in range(2):  # the axis shows the play, and the play how sure the axis is
            axis = hinge_axis(relative, sd, alike, declared, AXIS_DECLARED_SD)
            off = apply(relative, axis.directions[1]) - axis.directions[0]
            sd = float(np.sqrt(1.5) * robust_sd(off[:, None], w.hinge_least / np.sqrt(1.5))[0])
        if axis.sd < DETERMINED:
            axes[i], play[i] = axis, sd
    return axes, play


def _declared(tie: Tie, mounting: Mounting) -> np.ndarray | None:
    """(2, 3) the model's axis in both unit frames, where the model has one and the mountings are known."""
    sources = (mounting.sources[tie.parent], mounting.sources[tie.child])
    if tie.joint.axis is None or any(source not in ("given", "still pose") for source in sources):
        return None
    axis = tie.joint.axis / np.linalg.norm(tie.joint.axis)
    return np.stack([mounting.segment_from_unit[u].T @ axis for u in (tie.parent, tie.child)])


def prior_of_levers(problem: Problem, ends: Ends, joints: Sequence[int], mounting: Mounting) -> LeverPrior:
    """Prior of the lever arms, from the body's dimensions where mountings are known well enough.

    Parameters
    ----------
    problem : what is given
    ends, joints : of the ties that have lever arms
    mounting : as far as it is known

    Returns
    -------
    LeverPrior
    """
    centres = [
        (problem.ties[i].joint.centre_in_parent, problem.ties[i].joint.centre_in_child) for i in joints
    ]
    sure = [source in ("given", "still pose") for source in mounting.sources]
    places = [place if ok else None for place, ok in zip(problem.places, sure, strict=True)]
    unit_from_segment = np.swapaxes(mounting.segment_from_unit, -1, -2)
    w = problem.weights
    return lever_prior(ends, centres, places, unit_from_segment, w.lever, problem.centre_sd)


def calibrated(problem: Problem, freed: np.ndarray, axes: Mapping[int, Axis]) -> Mounting:
    """Mounting of all units from what is given, the neutral pose, and axes of flexion.

    Parameters
    ----------
    problem : what is given
    freed : (K + 1, U, 3, 3) world_from_unit, freed from the elastic part of the mounting
    axes : tie -> hinge axis

    Returns
    -------
    Mounting
    """
    signals = problem.signals
    if all(given is not None for given in problem.given_mounting):
        pose, declared = (0.0, 0.0), True
    elif problem.pose is not None:
        pose, declared = problem.pose, True
    else:
        rate = np.linalg.norm(signals.rate[:: signals.per_key], axis=-1)
        rate[1:][signals.lost] = rate[:-1][signals.lost] = NEVER_STILL
        pose, declared = still_pose(signals.key_time, rate), False
    flexions = _flexions(problem, freed, axes, pose)
    return calibrate_mounting(freed, signals.key_time, problem.given_mounting, pose, declared, flexions)


def _flexions(
    problem: Problem, freed: np.ndarray, axes: Mapping[int, Axis], pose: tuple[float, float]
) -> list[FlexionAxis]:
    """Axes found from the motion whose place in the segments the model tells: hinges and knees."""
    out = []
    alike = problem.alike(problem.weights.hinge_s)
    for i, tie in enumerate(problem.ties):
        if not (problem.both_measured(tie)):
            continue
        relative = np.swapaxes(freed[:, tie.parent], -1, -2) @ freed[:, tie.child]
        if i in axes and tie.joint.axis is not None:
            axis, in_segment = axes[i], tie.joint.axis / np.linalg.norm(tie.joint.axis)
            out.append(FlexionAxis((tie.parent, tie.child), axis.directions, in_segment, False))
        elif tie.joint.flexes_only:
            seen = relative[_watched(problem, (tie.parent, tie.child))]
            axis = hinge_axis(seen, np.radians(5.0), alike, None, 1.0)
            if axis.sd < DETERMINED:
                directions, signed = _oriented(
                    axis.directions, relative, problem.signals.key_time, pose, tie.joint
                )
                in_segment = np.array([0.0, 0.0, 1.0])
                out.append(FlexionAxis((tie.parent, tie.child), directions, in_segment, signed))
    return out


def _oriented(
    directions: np.ndarray, relative: np.ndarray, time: np.ndarray, pose: tuple[float, float], joint: Joint
) -> tuple[np.ndarray, bool]:
    """Axis turned so that the joint mostly moves to the side on which its range is wide."""
    low, high = joint.range.get(joint.angles[0], (0.0, 0.0)) if joint.range else (0.0, 1.0)
    rest = relative[np.argmin(np.abs(time - 0.5 * (pose[0] + pose[1])))]
    about = log(rest.T @ relative) @ directions[1]
    side = np.sign(np.mean(about) * (low + high)) * joint.signs[0]
    return (directions * side if side != 0 else directions), bool(side != 0 and low + high != 0)


def _ranges_that_hold(problem: Problem, freed: np.ndarray, mounting: Mounting) -> dict[int, np.ndarray]:
    """Joints with ranges or stiffness whose two mountings are known, and which ranges the motion respects."""
    sure = [source in ("given", "still pose") for source in mounting.sources]
    segments, out = segment_rotations(freed, mounting), {}
    for i, tie in enumerate(problem.ties):
        if (tie.joint.range or tie.joint.stiffness) and sure[tie.parent] and sure[tie.child]:
            outside = np.abs(beyond_range(tie.joint, angles_of(tie, segments))) > OUTSIDE_RAD
            out[i] = outside.mean(0) < OUTSIDE_SHARE
    return out
