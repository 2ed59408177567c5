"""The smoother at work: residuals linearised, solved, and what stays the same solved for in between."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ..alignment.facing.known import Facing
from ..alignment.latency import Lateness, lateness_from_joints, on_time, worth_taking_off
from ..core.arrays.scratch import copied, give_back, let_go, room, rows_at_once
from ..core.progress import Progress
from ..core.rotations import exp, log
from ..recording.keyframe_averages import Averages, averages
from .initial.headings import start
from .initial.multi_start import explained
from .problem.chain_prior import cost_beforehand
from .problem.estimate import Estimate
from .problem.problem import Problem, judged
from .problem.schedule import SCHEDULE
from .problem.unknowns import Body, State
from .solver.gauss_newton_step import between, one_step
from .solver.left_over import under_way
from .solver.marginal_covariance import posterior
from .solver.residual_pieces import Residuals
from .solver.step_control import LEAST_SHARE, StepControl
from .uncertainty.held_parameters import WithConstants, information_beforehand
from .updates.field_level import admitted
from .updates.joint_geometry import refine


def estimate(
    problem_at: Callable[[Lateness], Problem],
    latency: float,
    units: int,
    progress: Progress | None = None,
    facing: Facing | None = None,
) -> Estimate:
    """Most probable motion of all units, given the signals and the body.

    Parameters
    ----------
    problem_at : the problem with what is late taken off the stamps
    latency : s of the gyroscopes, to start from
    units : number of units
    progress : called as progress(done, total, what)
    facing : how units face at the start; None: as what is given makes likeliest

    Returns
    -------
    Estimate

    Notes
    -----
    Gauss–Newton over rotations, biases and velocities, steps halved where the cost would rise
    (`solver.step_control`); between steps, what is linear or closed-form once the rotations are known: lever
    arms, hinge axes, elastic mounting, mounting, and the residuals' scales.
    """
    say = progress or (lambda done, total, what: None)
    say(0, SCHEDULE.usual, "start values")
    late = on_time(units, latency)
    problem = problem_at(late)
    state, body, gated = start(problem, facing)
    trust = gated.without(judged(problem))
    state, body = explained(problem, state, body, trust)
    problem = _following(problem, first := state.R)
    average = averages(problem.signals, problem.turns, state.R)
    steps, step, control = 0, np.zeros_like(state.bias), StepControl()
    settled, before = False, (state, body)
    after = before
    while True:  # one loop, long as it is: what follows what within a step is the method
        say(min(steps + 1, SCHEDULE.usual), SCHEDULE.usual, "smoothing")
        residuals = Residuals(problem, state, body, average, trust, first=steps == 0)
        if steps >= SCHEDULE.geometry_until:  # before, the cost is of another problem in every step
            settled = control.settled
            while control.worse(cost := _cost(problem, body, residuals)) and not control.stuck:
                control = control.shorter()
                state, body = between(before, after, step, control.share)
                average = averages(problem.signals, problem.turns, state.R)
                residuals = Residuals(problem, state, body, average, trust)
            step *= control.share or LEAST_SHARE
            stuck = control.stuck
            control = control.kept(cost)
            if settled or stuck:
                break
        if steps == SCHEDULE.most:
            break
        before = state, body
        state, body, step = one_step(problem, state, body, residuals)
        steps, after = steps + 1, (state, body)
        look = steps in SCHEDULE.latency_after
        average = averages(problem.signals, problem.turns, state.R, by_latency=look)
        if look and (found := _late(problem, body, average)):
            late = late + found
            state = _read_later(state, problem, found)
            residuals.kept.clear()
            del problem  # an hour's signals are not held twice
            give_back()
            problem = _following(problem_at(late), first)
            average = averages(problem.signals, problem.turns, state.R)
        if steps <= SCHEDULE.geometry_until:
            body = refine(problem, state, body, average, steps)
            give_back()
        if steps == SCHEDULE.field_after:
            state, average, trust = admitted(problem, state, body, average, gated)
        if steps > max(SCHEDULE.latency_after) and _size(problem, step) < SCHEDULE.converged:
            break
    say(SCHEDULE.usual, SCHEDULE.usual, "how sure")
    moved = _size(problem, step)
    ended = settled or control.settled or moved < SCHEDULE.converged
    rotation, relative = how_sure(problem, state, body, average, residuals)
    return Estimate(
        problem,
        state,
        body,
        average,
        trust,
        late,
        steps,
        _cost(problem, body, residuals),
        moved,
        *under_way(problem, np.zeros_like(step) if ended else step, rotation, relative),
        residuals.root_mean_squares(),
        rotation,
        relative,
    )


def _cost(problem: Problem, body: Body, residuals: Residuals) -> float:
    """What is least at the solution: of all residuals, and of what is expected beside bare segments."""
    return residuals.cost + cost_beforehand(problem, body)


def _size(problem: Problem, step: np.ndarray) -> float:
    """Rad, root mean square of the turns of a step."""
    return float(np.sqrt(np.mean(np.sum(step[:, : len(problem.signals.units)] ** 2, -1))))


def _following(problem: Problem, R: np.ndarray) -> Problem:
    """The problem with the turns that long gaps lost replaced by those of the start, which follow neighbours.

    They count as wholly unknown all the same; only, nothing that turns with its neighbour is unlikely.
    """
    lost = problem.signals.lost
    if not lost.any():
        return problem
    carried, k, u = copied(problem.turns.carried), *np.nonzero(lost)
    whole = log(np.swapaxes(R[k, u], -1, -2) @ R[k + 1, u])
    share = np.linspace(0.0, 1.0, carried.shape[1])[:, None]
    carried[k, :, u] = exp(share * whole[:, None])
    return replace(problem, turns=replace(problem.turns, carried=carried))


def _late(problem: Problem, body: Body, average: Averages) -> Lateness:
    """What the joints show to be late; nothing where it is not certain or makes no difference."""
    if not len(body.levers) or not problem.signals.has["gyroscope"].any():
        return on_time(len(problem.signals.units))
    alike = problem.alike(problem.weights.joint_s)
    return worth_taking_off(*lateness_from_joints(average, body.ends, body.levers, body.joint_sd, alike))


def _read_later(state: State, problem: Problem, late: Lateness) -> State:
    """The state with each unit's rotations where they will have turned to when it is read later."""
    signals, along = problem.signals, np.linspace(-1.0, 1.0, len(state.R))
    rate, R = signals.rate[:: signals.per_key], room(state.R.shape)
    for at in rows_at_once(len(R)):
        R[at] = state.R[at] @ exp(rate[at] * late.at(along[at])[..., None])
        let_go(R, state.R, rate)
    return replace(state, R=R)


def how_sure(
    problem: Problem, state: State, body: Body, average: Averages, residuals: Residuals
) -> tuple[np.ndarray, np.ndarray]:
    """Covariance of rotations, and of each child's rotation against its parent's, at every keyframe.

    Parameters
    ----------
    problem, state, body, average : at the end
    residuals : as they were last linearised

    Returns
    -------
    rotation : (K + 1, U, 3, 3) rad², of each unit, world frame
    relative : (K + 1, J, 3, 3) rad², of θ_child − θ_parent per tie, world frame
    """
    U = state.R.shape[1]
    ends = np.array([[tie.parent, tie.child] for tie in problem.ties], int).reshape(-1, 2)
    rotation, relative = (room((len(state.R), count, 3, 3)) for count in (U, len(ends)))
    units = np.arange(U)
    p, c = ends.T

    def visit(at: slice, S: np.ndarray, X: np.ndarray, sigma: np.ndarray) -> None:
        S, x = S.reshape(-1, U, 3, U, 3), X.reshape(len(X), U, 3, -1)
        y = (X.reshape(-1, len(sigma)) @ sigma).reshape(x.shape)
        rotation[at] = np.moveaxis(S[:, units, :, units], 0, 1) + y @ np.swapaxes(x, -1, -2)
        between = S[:, p, :, p] + S[:, c, :, c] - S[:, p, :, c] - S[:, c, :, p]
        constant = (y[:, c] - y[:, p]) @ np.swapaxes(x[:, c] - x[:, p], -1, -2)
        relative[at] = np.moveaxis(between, 0, 1) + constant
        let_go(rotation, relative)

    by_constants = WithConstants(residuals, problem, state, body, average)
    known = information_beforehand(problem, body)
    posterior(by_constants, state.slots, len(state.R), *known, visit, U)
    give_back()
    return rotation, relative
