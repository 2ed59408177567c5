"""Start of the smoother for a jointed body: lever arms and one slowly changing heading per unit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...alignment.facing.known import Facing
from ...alignment.facing.lean import Level
from ...alignment.joint_centre import Ends
from ...alignment.mounting import Mounting
from ...calibration.magnetic.field_gate import DIP_WITHOUT_PLACE, FieldTrust, Gates, judge_field
from ...core.arrays.scratch import give_back, let_go, rows_at_once
from ...core.rotations import heading_matrix, heading_of
from ...recording.attitude import start_rotations, stretches, through_gaps
from ...recording.keyframe_averages import Averages, averages
from ..problem.chain_prior import expected
from ..problem.problem import Problem, judged
from ..problem.unknowns import Body, State
from ..updates.joint_geometry import prior_of_levers
from ..updates.mounting import calibrated
from .facing.search import find_facing
from .heading_walk import Walk


def start(problem: Problem, facing: Facing | None = None) -> tuple[State, Body, FieldTrust]:
    """Start values: each unit alone, then lever arms and headings joint by joint from the root.

    Parameters
    ----------
    problem : what is given
    facing : how units face; None: as what is given makes likeliest

    Returns
    -------
    state, body, trust
    """
    signals, w = problem.signals, problem.weights
    dip = DIP_WITHOUT_PLACE if problem.earth is None else problem.earth.dip
    R = start_rotations(signals, problem.turns, np.array([np.cos(dip), -np.sin(dip), 0.0]))
    average = averages(signals, problem.turns, R)
    turn = w.field_turn if signals.has["gyroscope"].all() else np.inf
    gates = Gates(w.field_norm, w.field_dip, turn)
    trust = judge_field(average.field, average.field_known, problem.levelled, dip, signals.key_step, gates)
    level = None if facing is None else facing.level
    if facing is None and problem.ties:
        level, facing = find_facing(problem, R, average, trust)
    body = _start_body(problem, R, level, facing)
    R, body = _headed(problem, R, average, body, trust.without(judged(problem)))
    U = R.shape[1]
    zeros = np.zeros((len(R), U, 3))
    velocity, position = (np.zeros((len(R), len(units), 3)) for units in (problem.moving, problem.placed))
    return State(R, zeros, velocity, position), body, trust


def _start_body(problem: Problem, R: np.ndarray, level: Level | None, facing: Facing | None) -> Body:
    """Lever arms as far as they are known beforehand; no axes yet."""
    felt, w = problem.followed, problem.weights
    joints = [i for i, tie in enumerate(problem.ties) if felt[tie.parent] and felt[tie.child]]
    ends = Ends(
        np.array([[problem.ties[i].parent, problem.ties[i].child] for i in joints], int).reshape(-1, 2)
    )
    U = R.shape[1]
    mounting = calibrated(problem, R, None, level=level, facing=facing)
    prior = prior_of_levers(problem, ends, joints, mounting)
    levers = prior.mean.reshape(-1, 2, 3).copy()
    return Body(
        ends,
        joints,
        levers,
        np.linalg.inv(prior.precision),
        np.full(len(joints), w.joint),
        {},
        {},
        np.zeros((U, 3, 3)),
        mounting,
        inferred=expected(problem, mounting)[0],
        level=level,
        facing=facing,
    )


def _headed(
    problem: Problem, R: np.ndarray, average: Averages, body: Body, trust: FieldTrust
) -> tuple[np.ndarray, Body]:
    """Start rotations turned about the vertical, and lever arms: by the joints, and by a trusted field."""
    walk = Walk(problem, R, average, body, trust)
    walk.turn(problem.root, walk.pull_of_field(problem.root))
    for i in range(len(problem.ties)):
        walk.go_along(i)
        give_back()
    out = walk.out
    turned = walk.turned * _root_kept(problem, R, walk.turned, trust)[:, None]
    for unit in np.flatnonzero(problem.measured):
        out[:, unit] = heading_matrix(np.angle(turned[:, unit])) @ R[:, unit]
    _follow_in_gaps(problem, out)
    _in_usual_posture(problem, out, body.mounting)
    return out, replace(body, levers=walk.levers, range_holds=_ranges_inferred(problem, body.mounting))


def _in_usual_posture(problem: Problem, R: np.ndarray, mounting: Mounting) -> None:
    """Puts segments without a unit beside a neighbour as they usually are, or as posed: changes R."""
    M = mounting.segment_from_unit
    usual = {(p, c): turn for (p, c), turn in zip(problem.postures.ends, problem.postures.usual, strict=True)}
    placed = problem.measured.copy()
    ties = list(problem.ties)
    for tie in (*ties, *reversed(ties)):
        p, c = tie.parent, tie.child
        if placed[p] == placed[c]:
            continue
        turns = _usual_or_posed(problem, p, c, usual[p, c])
        for at in rows_at_once(len(R)):
            if placed[p]:
                R[at, c] = R[at, p] @ M[p].T @ turns[at] @ M[c]
            else:
                R[at, p] = R[at, c] @ M[c].T @ np.swapaxes(turns[at], -1, -2) @ M[p]
            let_go(R)
        placed[[p, c]] = True


def _usual_or_posed(problem: Problem, p: int, c: int, usual: np.ndarray) -> np.ndarray:
    """(K + 1, 3, 3) of a child against its parent: as declared poses say, else as it usually is."""
    time = problem.signals.key_time
    turns = np.tile(usual, (len(time), 1, 1))
    for pose in problem.held if problem.posed[[p, c]].all() else ():
        turns[pose.holds(time)] = pose.segments[p].T @ pose.segments[c]
    return turns


def _ranges_inferred(problem: Problem, mounting: Mounting) -> dict[int, np.ndarray]:
    """Ranges of joints beside segments without a unit: they hold from the start."""
    return {
        i: np.ones(3, bool)
        for i, tie in enumerate(problem.ties)
        if not problem.both_measured(tie) and mounting.sure[tie.parent] and mounting.sure[tie.child]
    }


def _follow_in_gaps(problem: Problem, R: np.ndarray) -> None:
    """In long gaps R (K + 1, U, 3, 3) of a unit follows its neighbour's, changed in place.

    That is its parent's; the root's rotation goes evenly through the world.
    """
    lost = problem.signals.lost
    for unit, by in [(problem.root, None), *((tie.child, tie.parent) for tie in problem.ties)]:
        if lost[:, unit].any() and problem.measured[unit]:
            near = R[:, by] if by is not None and problem.measured[by] else np.eye(3)[None]
            R[:, unit] = near @ through_gaps(np.swapaxes(near, -1, -2) @ R[:, unit], lost[:, unit])


def _root_kept(problem: Problem, R: np.ndarray, turned: np.ndarray, trust: FieldTrust) -> np.ndarray:
    """(K + 1,) complex: turn of the whole body that keeps headings where they were when the root had a gap.

    Units that had none then must not jump; where all had one, the root faces as it did before.
    """
    lost, out = problem.signals.lost, np.ones(len(R), complex)
    if trust.trusted[:, problem.root].any():
        return out
    part = stretches(lost[:, problem.root])
    for first in np.flatnonzero(np.diff(part)) + 1:
        before = int(np.flatnonzero(np.r_[True, ~lost[: first - 1, problem.root]])[-1])
        own = ~lost[before:first].any(0) & problem.measured
        jump = turned[first, own] * turned[before, own].conj()
        if not own.any():
            M = problem.root
            ahead = heading_of(R[[before, first], M])
            jump = np.exp(1j * np.diff(ahead)) * turned[first, M] * turned[before, M].conj()
        out[first:] *= np.exp(-1j * np.angle(jump.sum()))
    return out
