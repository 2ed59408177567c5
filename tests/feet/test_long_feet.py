"""Long recordings of a foot are worked on some rows at a time: the same as all at once."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from bodyfit.core.arrays import scratch
from bodyfit.feet.problem import FootProblem, on_a_shoe
from bodyfit.feet.samples import PER_KEY, FootSamples, accelerations, foot_samples, start_rotations
from bodyfit.feet.smoother import foot_path
from bodyfit.feet.weights import PathWeights
from tests.feet.stepping import stepping


@pytest.fixture(scope="module")
def samples() -> FootSamples:
    return foot_samples(stepping(count=3).unit, 9.80665)


def few_rows(monkeypatch):
    monkeypatch.setattr(scratch, "ROWS", 37)


def test_rotations_at_the_start_and_accelerations(samples, monkeypatch):
    whole = start_rotations(samples)
    pushed = accelerations(samples, whole)
    few_rows(monkeypatch)
    np.testing.assert_allclose(start_rotations(samples), whole, atol=1e-12)
    assert (accelerations(samples, whole) == pushed).all()


def test_signals_between_keyframes(samples, monkeypatch):
    R = start_rotations(samples)[::PER_KEY]
    weights, found = PathWeights(), [(10, 20)]
    problem = FootProblem(samples, on_a_shoe(R, found, weights), weights, np.zeros((len(R), 2)), found, 0.01)
    state = foot_path(samples).state
    whole = problem.between(state)
    few_rows(monkeypatch)
    parts = problem.between(state)
    for of in fields(whole):
        assert (getattr(parts, of.name) == getattr(whole, of.name)).all()
    assert len(parts.rate) == len(R) and len(parts.turn) == len(R) - 1


def test_a_state_after_a_step(samples, monkeypatch):
    state = foot_path(samples).state
    rng = np.random.default_rng(1)
    step, constants = rng.normal(size=(len(state.R), 10)), rng.normal(size=14)
    whole = state.stepped(step, constants)
    few_rows(monkeypatch)
    parts = state.stepped(step, constants)
    for of in fields(whole):
        assert (getattr(parts, of.name) == getattr(whole, of.name)).all()
