"""Jacobians of the residuals of a foot's path by finite differences."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.core.rotations import exp
from bodyfit.feet.normal_equations import COMMON, HERE, NEXT, NormalEquations
from bodyfit.feet.preintegration import between_keyframes
from bodyfit.feet.residuals import add_contact, add_travel, add_turn
from bodyfit.feet.samples import foot_samples
from bodyfit.feet.state import BIAS_FORCE, BIAS_RATE, CONSTANTS, LAG, SCALE, STATES, FootState
from tests.feet.stepping import stepping

H = 1e-6


class Recorder(NormalEquations):
    """Keeps residuals and Jacobians as they come."""

    def __init__(self):
        self.rows = []

    def add(self, residual, blocks, sd, at=None):
        sizes = {HERE: STATES, NEXT: STATES, COMMON: CONSTANTS}
        dense = {where: np.zeros((*residual.shape, size)) for where, size in sizes.items()}
        for where, columns, J in blocks:
            dense[where][:, :, columns] = J[..., 0] if isinstance(columns, int) else J
        between = any(where == NEXT for where, *_ in blocks)
        self.rows.append((residual, (dense[HERE], dense[NEXT] if between else None, dense[COMMON]), at))


def state_at(K):
    rng = np.random.default_rng(3)
    constants = 0.1 * rng.normal(size=CONSTANTS)
    constants[LAG], constants[SCALE] = 0.002, 0.003
    constants[BIAS_RATE] *= 0.1
    return FootState(
        exp(rng.normal(size=(K, 3))),
        rng.normal(size=(K, 3)),
        rng.normal(size=(K, 3)),
        rng.normal(size=K),
        constants,
    )


@pytest.fixture(scope="module")
def setting():
    samples = foot_samples(stepping(count=2).unit.between(1.2, 3.4), 9.80665)
    return samples, state_at(len(samples.key_time))


def rows(samples, state, kind):
    c = state.constants
    force = samples.force / (1 + c[SCALE]) - c[BIAS_FORCE]
    between = between_keyframes(samples, force, samples.rate(state.lag) - c[BIAS_RATE])
    to, K = Recorder(), len(state.R)
    if kind == "turn":
        add_turn(to, state, between, samples.key_step, np.ones(K - 1))
    elif kind == "travel":
        add_travel(to, state, between, samples.key_step, np.ones(K - 1), samples.gravity)
    else:
        towards_heel = np.linspace(0, 1, K)
        add_contact(to, state, between.rate, towards_heel, np.ones(K), (np.ones(K), 1.0))
    return to.rows


@pytest.mark.parametrize("kind", ["travel", "contact"])
def test_jacobians_of_the_states(setting, kind):
    samples, state = setting
    K = len(state.R)
    for column in range(STATES):
        step = np.zeros((K, STATES))
        step[5, column] = H
        moved = state.stepped(step, np.zeros(CONSTANTS))
        for before, after in zip(rows(samples, state, kind), rows(samples, moved, kind), strict=True):
            change = (after[0] - before[0]) / H
            here, there, _ = before[1]
            np.testing.assert_allclose(change[5], here[5, :, column], atol=1e-5)
            if there is not None:
                np.testing.assert_allclose(change[4], there[4, :, column], atol=1e-5)


def test_jacobians_of_the_turn_are_right_for_small_residuals(setting):
    """They leave out the inverse of the left Jacobian, which is one where the residual vanishes."""
    samples, state = setting
    c = state.constants
    between = between_keyframes(samples, samples.force, samples.rate(state.lag) - c[BIAS_RATE])
    R = [state.R[0]]
    for turn in between.turn:
        R.append(R[-1] @ turn)
    state = FootState(np.stack(R), state.velocity, state.place, state.ground, c)
    for column in range(3):
        step = np.zeros((len(R), STATES))
        step[5, column] = H
        (before,), (after,) = (
            rows(samples, s, "turn") for s in (state, state.stepped(step, np.zeros(CONSTANTS)))
        )
        change = (after[0] - before[0]) / H
        np.testing.assert_allclose(change[5], before[1][0][5, :, column], atol=1e-5)
        np.testing.assert_allclose(change[4], before[1][1][4, :, column], atol=1e-5)


@pytest.mark.parametrize(("kind", "columns"), [("travel", range(3, 6)), ("contact", range(6, 12))])
def test_jacobians_of_the_constants(setting, kind, columns):
    samples, state = setting
    for column in columns:
        step = np.zeros(CONSTANTS)
        step[column] = H
        moved = state.stepped(np.zeros((len(state.R), STATES)), step)
        for before, after in zip(rows(samples, state, kind), rows(samples, moved, kind), strict=True):
            change = (after[0] - before[0]) / H
            np.testing.assert_allclose(change, before[1][2][:, :, column], atol=2e-4)
