"""One step of the solver against dense normal equations, numpy's, with and without constants beside it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.estimator.problem import chain_prior
from bodyfit.estimator.problem.unknowns import Body, State
from bodyfit.estimator.residuals.base import Linearised
from bodyfit.estimator.solver import gauss_newton_step
from bodyfit.estimator.solver.gauss_newton_step import one_step

KEYFRAMES, SLOTS, CONSTANTS = 5, 2, 6  # one unit: its rotation and its bias
RNG = np.random.default_rng(8)
STATE = State(
    Rotation.random(KEYFRAMES, random_state=2).as_matrix()[:, None],
    RNG.normal(size=(KEYFRAMES, 1, 3)),
    np.zeros((KEYFRAMES, 0, 3)),
    np.zeros((KEYFRAMES, 0, 3)),
)


def residuals(constants: bool) -> list[Linearised]:
    """Each slot by itself, each keyframe with the next; the first kind may hang on the constants too."""
    at, rng = np.arange(SLOTS), np.random.default_rng(1)
    J = rng.normal(size=(3, KEYFRAMES, SLOTS, 3, 3))
    value, weight = rng.normal(size=(2, KEYFRAMES, SLOTS, 3))
    where = np.array([[0, 1, 2], [3, 4, 5]])
    more = (where, rng.normal(size=(KEYFRAMES, SLOTS, 3, 3))) if constants else None
    own = Linearised("own", value, ((at, 0, J[0]),), weight**2 + 0.5, more)
    near = Linearised("near", value[1:], ((at, 0, J[1][1:]), (at, 1, J[2][1:])), weight[1:] ** 2 + 0.1)
    return [own, near]


def dense(parts: list[Linearised]) -> tuple[np.ndarray, np.ndarray]:
    """Jacobian and values of all residuals, times the roots of their weights."""
    rows, values = [], []
    for part in parts:
        for k, e in np.ndindex(part.value.shape[:2]):
            row = np.zeros((3, KEYFRAMES * SLOTS * 3 + CONSTANTS))
            for slots, shift, J in part.jacobians:
                first = 3 * ((k + shift) * SLOTS + slots[e])
                row[:, first : first + 3] += J[k, e]
            if part.constants is not None:
                row[:, KEYFRAMES * SLOTS * 3 + part.constants[0][e]] += part.constants[1][k, e]
            root = np.sqrt(part.weight[k, e])
            rows.append(root[:, None] * row)
            values.append(root * part.value[k, e])
    return np.concatenate(rows), np.concatenate(values)


def body(inferred: np.ndarray) -> Body:
    nothing: Any = np.zeros(0)
    return Body(nothing, (), nothing, nothing, nothing, {}, {}, nothing, SimpleNamespace(), {}, inferred)  # type: ignore


def moved_by(step: np.ndarray, state: State) -> None:
    """Rotations are turned from the left by the first slot, biases moved by the second."""
    turn = Rotation.from_rotvec(step[:, 0]) * Rotation.from_matrix(STATE.R[:, 0])
    np.testing.assert_allclose(state.R[:, 0], turn.as_matrix(), atol=1e-9)
    np.testing.assert_allclose(state.bias[:, 0], STATE.bias[:, 0] + step[:, 1], atol=1e-9)


def test_without_constants_it_is_the_least_squares_step():
    J, r = dense(parts := residuals(False))
    expected = np.linalg.lstsq(J[:, :-CONSTANTS], -r, rcond=None)[0].reshape(KEYFRAMES, SLOTS, 3)
    given = body(np.zeros((0, 3)))
    state, after, step = one_step(SimpleNamespace(), STATE, given, parts)  # type: ignore[arg-type]
    np.testing.assert_allclose(step, expected, atol=1e-9)
    moved_by(step, state)
    assert after is given


@pytest.mark.parametrize("away", [0.0, 1.0], ids=["at what is expected", "away from it"])
def test_constants_are_solved_with_it_and_drawn_to_what_is_expected(monkeypatch, away):
    """Minimum of Σ w (r + J y + C e)² + (e₀ + e − m)ᵀ P (e₀ + e − m), P and m the prior of the constants."""
    A = np.random.default_rng(3).normal(size=(CONSTANTS, CONSTANTS))
    P, mean = A @ A.T + np.eye(CONSTANTS), np.full((2, 3), 0.2)
    monkeypatch.setattr(gauss_newton_step, "expected", lambda problem, mounting: (mean, P))
    J, r = dense(parts := residuals(True))
    prior = np.zeros((CONSTANTS, J.shape[1]))
    prior[:, -CONSTANTS:] = np.linalg.cholesky(P).T
    off = np.full((2, 3), away)
    rows, values = np.vstack([J, prior]), np.concatenate([r, prior[:, -CONSTANTS:] @ off.ravel()])
    expected = np.linalg.lstsq(rows, -values, rcond=None)[0]
    state, after, step = one_step(SimpleNamespace(), STATE, body(mean + off), parts)  # type: ignore[arg-type]
    np.testing.assert_allclose(step.ravel(), expected[:-CONSTANTS], atol=1e-9)
    np.testing.assert_allclose(after.inferred, mean + off + expected[-CONSTANTS:].reshape(2, 3), atol=1e-9)
    moved_by(step, state)


def test_what_is_expected_of_the_constants_is_part_of_the_cost(monkeypatch):
    mean, found = np.zeros((2, 3)), RNG.normal(size=(2, 3))
    precision = np.diag(np.arange(1.0, 7.0))
    monkeypatch.setattr(chain_prior, "expected", lambda *_: (mean, precision))
    problem: Any = None
    assert chain_prior.cost_beforehand(problem, body(mean)) == 0.0
    square = float(np.sum(np.arange(1.0, 7.0) * found.ravel() ** 2))
    assert chain_prior.cost_beforehand(problem, body(found)) == pytest.approx(0.5 * square)
    assert chain_prior.cost_beforehand(problem, body(np.zeros((0, 3)))) == 0.0
