"""One nonlinear least-squares problem, the same for two solvers: ours, and scipy's with a sparse Jacobian.

Everything that `fit` finds between its steps (weights, lever arms, axes, mounting) is held at what it found,
and the averages turn rigidly with their keyframe, so that residuals and Jacobians belong together exactly.
"""
# pyright: reportArgumentType=false, reportReturnType=false

from __future__ import annotations

import dataclasses

import numpy as np
from scipy import sparse
from scipy.optimize import least_squares

from bodyfit.core.rotations import apply, left_jacobian_inverse, log
from bodyfit.estimator.estimate import estimate
from bodyfit.estimator.initial.headings import start
from bodyfit.estimator.linearise import linearise
from bodyfit.estimator.problem.build import build_problem, units_and_ties
from bodyfit.estimator.problem.unknowns import State
from bodyfit.estimator.residuals.base import Linearised
from bodyfit.estimator.solver.block_tridiagonal import solve
from bodyfit.fitting.select import selected
from bodyfit.recording.capture import Capture
from bodyfit.recording.keyframe_averages import averages
from bodyfit.recording.resampling import common_signals
from bodyfit.weights import Weights


class Frozen:
    """Residuals of a capture as a function of the state alone, and the state to start from."""

    def __init__(self, capture: Capture):
        worn = selected(capture, {"accelerometer", "gyroscope"}, ())
        units, ties = units_and_ties(worn)
        clock = list(worn.units.values())

        def problem_at(late):
            signals = common_signals(units, clock, late.latency, (late.offset, late.drift))
            return build_problem(worn, signals, units, ties, Weights())

        found = estimate(problem_at, 0.0, len(units))
        self.problem, self.body, self.trust = found.problem, found.body, found.trust
        self.first = start(self.problem)[0]
        self.average = averages(self.problem.signals, self.problem.turns, self.first.R)
        at_end = linearise(self.problem, found.state, self.body, found.average, self.trust)
        self.weights = [part.weight for part in at_end]

    def residuals(self, state: State) -> list[Linearised]:
        Q = state.R @ np.swapaxes(self.first.R, -1, -2)
        turned = dataclasses.replace(
            self.average,
            force=apply(Q, self.average.force),
            lever=Q @ self.average.lever,
            field=apply(Q, self.average.field),
        )
        parts = linearise(self.problem, state, self.body, turned, self.trust)
        parts = [dataclasses.replace(p, weight=w) for p, w in zip(parts, self.weights, strict=True)]
        return [_held(p, Q[0]) if p.name == "rotation at the start" else p for p in parts]

    def cost(self, state: State) -> float:
        return sum(part.cost for part in self.residuals(state))


def _held(part: Linearised, turned: np.ndarray) -> Linearised:
    """The start rotations' residual with how far (U, 3, 3) each has turned: a function of the state too."""
    v = log(turned)
    (slots, shift, J), value = part.jacobians[0], part.value.copy()
    value[0], slope = v, J.copy()
    slope[0] = left_jacobian_inverse(v)
    return dataclasses.replace(part, value=value, jacobians=((slots, shift, slope),))


def by_smoother(frozen: Frozen, converged: float = 1e-8) -> State:
    """Gauss–Newton with the block-tridiagonal solver, until no unknown moves any more."""
    state = frozen.first
    for _ in range(100):
        step = solve(frozen.residuals(state), state.slots, len(state.R))
        state = state.stepped(step)
        if np.abs(step).max() < converged:
            return state
    raise AssertionError("the smoother did not converge")


def by_scipy(frozen: Frozen) -> tuple[State, int]:
    """`scipy.optimize.least_squares`, trust region, least-squares steps by LSMR on the sparse Jacobian."""
    exact_steps = {"atol": 1e-12, "btol": 1e-12, "maxiter": 20_000}
    options = {"x_scale": "jac", "xtol": 1e-12, "ftol": None, "gtol": 1e-10, "tr_options": exact_steps}
    first = frozen.first
    shape = (len(first.R), first.slots, 3)

    def at(x: np.ndarray) -> State:
        return first.stepped(x.reshape(shape))

    def values(x: np.ndarray) -> np.ndarray:
        return np.concatenate([(np.sqrt(p.weight) * p.value).ravel() for p in frozen.residuals(at(x))])

    def jacobian(x: np.ndarray) -> sparse.csr_matrix:
        # Exp(x + dx) = Exp(J_l(x) dx) Exp(x): the residuals' Jacobians are with respect to the left factor
        chain = np.broadcast_to(np.eye(3), (*shape, 3)).copy()
        units = first.R.shape[1]
        chain[:, :units] = np.linalg.inv(left_jacobian_inverse(x.reshape(shape)[:, :units]))
        return sparse.vstack([sparse_rows(p, chain) for p in frozen.residuals(at(x))]).tocsr()

    found = least_squares(values, np.zeros(np.prod(shape)), jacobian, tr_solver="lsmr", **options)
    return at(found.x), found.nfev


def sparse_rows(part: Linearised, chain: np.ndarray) -> sparse.coo_matrix:
    """Weighted Jacobian of one kind of residual, rows in the order of its values."""
    count, entries, m = part.value.shape
    keyframes, slots = chain.shape[:2]
    root = np.sqrt(part.weight)[..., None]
    row = np.arange(count * entries * m).reshape(count, entries, m, 1)
    rows, columns, data = [], [], []
    for slot, shift, J in part.jacobians:
        at = (np.arange(count) + shift)[:, None]
        block = root * (J @ chain[at, slot[None]])
        column = (at * slots + slot)[..., None, None] * 3 + np.arange(3)
        rows.append(np.broadcast_to(row, block.shape).ravel())
        columns.append(np.broadcast_to(column, block.shape).ravel())
        data.append(block.ravel())
    where = (np.concatenate(rows), np.concatenate(columns))
    return sparse.coo_matrix((np.concatenate(data), where), (count * entries * m, keyframes * slots * 3))
