"""What stays the same during a capture, given the rotations: lever arms, axes, softness, mounting, ranges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ...alignment.compliance import Hinges, elastic_mounting, elastic_turns, freed_rotations
from ...alignment.joint_axis import Axis, hinge_axis
from ...alignment.joint_centre import Ends, LeverPrior, joint_forces, lever_prior, levers_from_rotations
from ...alignment.mounting import Mounting, segment_rotations
from ...body.motion.joint_angles import beyond_range
from ...core.arrays.scratch import give_back, let_go, rows_at_once
from ...core.robust import robust_sd
from ...core.rotations import apply
from ...recording.keyframe_averages import Averages
from ..problem.problem import DETERMINED, Problem
from ..problem.schedule import SCHEDULE
from ..problem.tie import Tie, angles_of
from ..problem.unknowns import Body, State
from .joint_evidence import HINGE_PLAY
from .mounting import calibrated
from .sitting import seated
from .standing import standing

TIGHT_HINGE = np.radians(1.0)  # play beside the elastic mounting above which a hinge is loose
AXIS_DECLARED_SD = np.radians(5.0)  # how far a given mounting usually is off; common practice
# a range exceeded that far, that often, is not believed; chosen; not tried
OUTSIDE_RAD, OUTSIDE_SHARE = np.radians(5.0), 0.02


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
        return replace(body, mounting=calibrated(problem, state.R, ({}, {})))
    w, alike = problem.weights, problem.alike(problem.weights.joint_s)
    prior = prior_of_levers(problem, body.ends, body.joints, body.mounting)
    levers, covariance = levers_from_rotations(average, body.ends, body.levers, body.joint_sd, alike, prior)
    parent, child = joint_forces(average, body.ends, levers)
    joint_sd = robust_sd(parent - child, w.joint_least) if len(levers) else body.joint_sd
    body = replace(body, levers=levers, lever_covariance=covariance, joint_sd=joint_sd)
    stands = standing(problem, state, body.mounting, average)
    body = replace(body, standing=stands, seated=seated(problem, state, body.mounting))
    if iteration < SCHEDULE.hinges_from:
        return body
    axes, hinge_sd, elastic = body.axes, body.hinge_sd, body.elastic
    for _ in range(2 if iteration == SCHEDULE.hinges_from else 1):  # axes and softness show each other
        freed = freed_rotations(elastic, state.R, average.force)
        axes, hinge_sd = _hinges(problem, freed, body)
        elastic = _elastic(problem, state, average, axes, hinge_sd) if axes else elastic
    freed = freed_rotations(elastic, state.R, average.force)
    joints = (body.ends, body.joints, body.levers, body.joint_sd)
    give_back()
    mounting = calibrated(problem, freed, (axes, hinge_sd), average, joints, body.level, body.facing)
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
    watched = problem.watched(range(state.R.shape[1]))
    R, force = state.R, average.force
    if not watched.all():
        R, force = R[watched], force[watched]
    ends = Ends(np.array([[tie.parent, tie.child] for tie in problem.ties]))

    def solved(hinges: list[int]) -> np.ndarray:
        directions = np.array([axes[i].directions for i in hinges]).reshape(-1, 2, 3)
        shown = Hinges(np.array(hinges, int), directions, np.array([hinge_sd[i] for i in hinges]))
        alike = problem.alike(w.hinge_s)
        return elastic_mounting(R, force, ends, shown, alike, w.elastic_common, w.elastic_own)

    def play(i: int, elastic: np.ndarray) -> float:
        two = [problem.ties[i].parent, problem.ties[i].child]
        freed = R[:, two] @ elastic_turns(elastic[two], R[:, two], force[:, two])
        relative = np.swapaxes(freed[:, 0], -1, -2) @ freed[:, 1]
        axis = hinge_axis(relative, hinge_sd[i], 1.0, None, 1.0).directions
        return float(robust_sd((apply(relative, axis[1]) - axis[0])[:, None], 0.0)[0])

    tight = [i for i in at if play(i, solved([i])) < TIGHT_HINGE]
    return solved(tight) if tight else np.zeros((state.R.shape[1], 3, 3))


def _hinges(problem: Problem, freed: np.ndarray, body: Body) -> tuple[dict[int, Axis], dict[int, float]]:
    """Axis and play of every hinge whose motion, or whose model, shows them."""
    w, axes, play = problem.weights, {}, {}
    for i, tie in enumerate(problem.ties):
        if tie.joint.type != "hinge" or not problem.both_measured(tie):
            continue
        at = problem.watched((tie.parent, tie.child))
        relative = np.swapaxes(freed[at, tie.parent], -1, -2) @ freed[at, tie.child]
        let_go(freed)
        declared, alike = declared_axis(tie, body.mounting), problem.alike(w.hinge_s)
        sd = body.hinge_sd.get(i, HINGE_PLAY)
        for _ in range(2):  # the axis shows the play, and the play how sure the axis is
            axis = hinge_axis(relative, sd, alike, declared, AXIS_DECLARED_SD)
            off = apply(relative, axis.directions[1]) - axis.directions[0]
            sd = float(np.sqrt(1.5) * robust_sd(off[:, None], w.hinge_least / np.sqrt(1.5))[0])
        if axis.sd < DETERMINED:
            axes[i], play[i] = axis, sd
    return axes, play


def declared_axis(tie: Tie, mounting: Mounting) -> np.ndarray | None:
    """Axis of a hinge as its model says it, seen from both units.

    Parameters
    ----------
    tie : hinge
    mounting : as far as it is known

    Returns
    -------
    (2, 3) unit frames, or None: the model has none, or a mounting is not known
    """
    if tie.joint.axis is None or not (mounting.sure[tie.parent] and mounting.sure[tie.child]):
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
    w, M = problem.weights, mounting.segment_from_unit
    told = mounting.tilt_known
    places = [place if ok else None for place, ok in zip(problem.places, told, strict=True)]
    return lever_prior(
        ends, centres, places, np.swapaxes(M, -1, -2), mounting.covariance, w.lever, problem.centre_sd
    )


def _ranges_that_hold(problem: Problem, freed: np.ndarray, mounting: Mounting) -> dict[int, np.ndarray]:
    """Joints with ranges or stiffness whose two mountings are known, and which ranges the motion respects."""
    sure = mounting.sure
    told = {
        i: tie
        for i, tie in enumerate(problem.ties)
        if (tie.joint.range or tie.joint.stiffness) and sure[tie.parent] and sure[tie.child]
    }
    outside = {i: np.zeros(3) for i in told}
    for at in rows_at_once(len(freed)):
        segments = segment_rotations(freed[at], mounting)
        for i, tie in told.items():
            beyond = np.abs(beyond_range(tie.joint, angles_of(tie, segments))) > OUTSIDE_RAD
            outside[i] += beyond.sum(0)
        let_go(freed)
    # only a measured joint can show a range to be wrong
    return {
        i: (not problem.both_measured(tie)) | (outside[i] / len(freed) < OUTSIDE_SHARE)
        for i, tie in told.items()
    }
