"""Explanations: postures from which segments without a unit may start, and which of them fits best."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...alignment.mounting import Mounting
from ...calibration.magnetic.field_gate import FieldTrust
from ...core.rotations import exp, heading_matrix, heading_towards
from ...recording.keyframe_averages import averages
from ..problem.problem import Problem
from ..problem.schedule import SCHEDULE
from ..problem.unknowns import Body, State
from ..solver.gauss_newton_step import one_step
from ..solver.residual_pieces import Residuals

DRAWN = 3  # postures tried beside the usual one; tried: 3, 5, 8 on an arm without its upper unit: alike
KEPT, MORE_STEPS = 1, 1  # of the best after that, and the steps that it goes on for; tried: 3, 3: 0.3° better


@dataclass(frozen=True, eq=False)
class Explanation:
    """Where some steps of the solver led from one start.

    Attributes
    ----------
    state, body : there
    cost : half the weighted sum of squares of all residuals, before the last step
    """

    state: State
    body: Body
    cost: float


def explained(problem: Problem, state: State, body: Body, trust: FieldTrust) -> tuple[State, Body]:
    """The start that explains best where a group of segments without a unit, between units, may be.

    Parameters
    ----------
    problem : what is given
    state, body, trust : start values, such segments in their usual postures

    Returns
    -------
    state, body : as given where there is no such group, or more than one

    Notes
    -----
    An elbow may point down or out while the hand goes the same way; the solver ends in the explanation that
    is next to its start. So postures are drawn from what is known of them beforehand, always the same random
    numbers; each is followed for some steps, and the best few for some more. With several groups no draw is
    good for all of them at once: in whole bodies with six to ten units the usual postures did as well.
    """
    if len(groups_of(problem)) != 1:
        return state, body
    draws = np.random.default_rng(0).standard_normal((DRAWN, len(problem.postures.ends), 3))
    starts = [state, *(_drawn(problem, state, body.mounting, trust, draw) for draw in draws)]
    tried = [_followed(problem, start, body, trust, SCHEDULE.first_looks, first=True) for start in starts]
    kept = sorted(tried, key=lambda one: one.cost)[:KEPT]
    ends = [_followed(problem, one.state, one.body, trust, MORE_STEPS) for one in kept]
    best = min(ends, key=lambda one: one.cost)
    return best.state, best.body


def groups_of(problem: Problem) -> list[np.ndarray]:
    """Segments without a unit that lie between units that feel and turn, neighbours together.

    Parameters
    ----------
    problem : what is given

    Returns
    -------
    list of unit numbers, one array a group
    """
    groups: list[set[int]] = []
    for bridge in problem.bridges:
        inner = set(bridge.units[1:-1])
        inner = inner.union(*(group for group in groups if group & inner))
        groups = [*(group for group in groups if not group & inner), inner]
    return [np.array(sorted(group)) for group in groups]


def _drawn(problem: Problem, state: State, mounting: Mounting, trust: FieldTrust, draw: np.ndarray) -> State:
    """The start with every joint beside a bare segment turned from its usual posture, all along.

    Units beyond, and all that hangs on them, are turned about the vertical to where that makes them face,
    unless a field shows their heading.
    """
    known, M, R = problem.postures, mounting.segment_from_unit, state.R.copy()
    turns = known.usual @ exp((np.linalg.inv(known.whiten) @ draw[..., None])[..., 0])
    at = {tuple(ends): number for number, ends in enumerate(known.ends)}
    beyond = _beyond(problem)
    for tie in problem.ties:
        p, c = tie.parent, tie.child
        if (p, c) not in at:
            continue
        there = R[:, p] @ M[p].T @ turns[at[p, c]] @ M[c]
        if not problem.measured[c]:
            R[:, c] = there
        elif not trust.trusted[:, c].any():
            R[:, beyond[c]] = heading_matrix(np.array(heading_towards(R[:, c], there))) @ R[:, beyond[c]]
    return replace(state, R=R)


def _beyond(problem: Problem) -> dict[int, list[int]]:
    """Unit -> itself and all that hang on it."""
    out = {u: [u] for u in range(len(problem.signals.units))}
    for tie in reversed(problem.ties):
        out[tie.parent] += out[tie.child]
    return out


def _followed(
    problem: Problem, state: State, body: Body, trust: FieldTrust, steps: int, first: bool = False
) -> Explanation:
    """A start after some steps, lever arms, axes and mountings held."""
    cost = np.inf
    for step in range(steps):
        average = averages(problem.signals, problem.turns, state.R)
        residuals = Residuals(problem, state, body, average, trust, first=first and step == 0)
        state, body, _ = one_step(problem, state, body, residuals)
        cost = residuals.cost
    return Explanation(state, body, cost)
