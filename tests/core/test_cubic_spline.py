"""Cubic splines against scipy's (scipy.interpolate.CubicSpline, not-a-knot ends)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline as Scipys

from bodyfit.core.arrays import scratch
from bodyfit.core.cubic_spline import CubicSpline

SEEDS = range(5)


def samples(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    at = np.cumsum(random.uniform(0.002, 0.05, 50)) - 0.3
    return at, random.normal(size=(50, 3)), np.sort(random.uniform(at[0] - 0.05, at[-1] + 0.05, 400))


@pytest.mark.parametrize("seed", SEEDS)
def test_values_and_derivatives_are_scipys_to_the_last_bit_or_two(seed):
    at, values, t = samples(seed)
    ours, theirs = CubicSpline(at, values), Scipys(at, values)
    for derivative in (0, 1, 2):
        np.testing.assert_allclose(ours(t, derivative), theirs(t, derivative), rtol=1e-13, atol=1e-13)


@pytest.mark.parametrize("seed", SEEDS)
def test_integrals_are_scipys(seed):
    at, values, t = samples(seed)
    whole = Scipys(at, values).antiderivative()
    np.testing.assert_allclose(CubicSpline(at, values).integral(t), whole(t) - whole(at[0]), atol=1e-14)


def test_many_samples_are_worked_on_in_rows(monkeypatch):
    at, values, t = samples(0)
    whole = CubicSpline(at, values)
    monkeypatch.setattr(scratch, "ROWS", 7)
    parts = CubicSpline(at, values)
    assert (parts(t) == whole(t)).all() and (parts(t, 1) == whole(t, 1)).all()
    assert (parts.integral(t) == whole.integral(t)).all()


def test_a_cubic_is_met_exactly_by_four_samples():
    at = np.array([0.0, 0.3, 1.0, 1.5])
    t = np.linspace(-0.2, 1.7, 30)
    np.testing.assert_allclose(CubicSpline(at, at**3 - at)(t), t**3 - t, atol=1e-13)


def test_one_column_keeps_its_shape():
    at = np.arange(6.0)
    assert CubicSpline(at, np.sin(at))(np.array([0.5, 2.5])).shape == (2,)
