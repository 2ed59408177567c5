"""The bordered block tridiagonal problem against numpy's dense least squares."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.feet import band_factor, normal_equations
from bodyfit.feet.normal_equations import COMMON, HERE, NEXT, BandedEquations, NormalEquations, stretches

K, N, C, D = 7, 3, 2, 4


@pytest.fixture(params=[(100, 100), (6, 100), (4, 100), (1, 100), (100, 1), (4, 2), (6, 3), (100, 6)])
def problem(request, monkeypatch):
    """In one stretch, and cut at keyframes where it ends, does not end, and at all of them.

    The same for the keyframes that are factored at once.
    """
    stretch, at_once = request.param
    monkeypatch.setattr(normal_equations, "STRETCH", stretch)
    monkeypatch.setattr(band_factor, "AT_ONCE_BYTES", at_once * 8 * N * 2 * N)
    rng = np.random.default_rng(0)
    here, there, common = (rng.normal(size=(K - 1, D, n)) for n in (N, N, C))
    own, own_common = rng.normal(size=(K, D, N)), rng.normal(size=(K, D, C))
    r, r_own, sd = rng.normal(size=(K - 1, D)), rng.normal(size=(K, D)), rng.uniform(0.5, 2, K)
    whole, every = BandedEquations(K, N, C), slice(0, C)
    for stretch in stretches(K):
        to, at, now = NormalEquations(stretch.last - stretch.first + 1, N, C), stretch.intervals, stretch.own
        parts = [(HERE, slice(0, 2), here[at, :, :2]), (HERE, 2, here[at, :, 2:])]
        to.add(r[at], [*parts, (NEXT, slice(0, N), there[at]), (COMMON, every, common[at])], sd[at])
        parts = [(HERE, slice(0, N), own[now]), (COMMON, every, own_common[now])]
        to.add(r_own[now], parts, sd[now], np.arange(len(r_own[now])))
        whole.put(stretch, to)
    rows, values = [], []
    for k in range(K):
        J = np.zeros((D, K * N + C))
        J[:, N * k : N * k + N], J[:, K * N :] = own[k], own_common[k]
        rows.append(J / sd[k])
        values.append(r_own[k] / sd[k])
    for k in range(K - 1):
        J = np.zeros((D, K * N + C))
        J[:, N * k : N * k + N], J[:, N * k + N : N * k + 2 * N], J[:, K * N :] = here[k], there[k], common[k]
        rows.append(J / sd[k])
        values.append(r[k] / sd[k])
    return whole.solved(), np.concatenate(rows), np.concatenate(values)


def test_step_is_that_of_dense_least_squares(problem):
    solved, J, r = problem
    x = np.linalg.lstsq(J, -r, rcond=None)[0]
    np.testing.assert_allclose(solved.step.ravel(), x[: K * N], atol=1e-6)
    np.testing.assert_allclose(solved.constants, x[K * N :], atol=1e-6)


def test_variance_of_a_stretch_is_that_of_the_whole_inverse(problem):
    solved, J, _ = problem
    rows = np.random.default_rng(2).normal(size=(3, N))
    flat = np.zeros(K * N)
    flat[2 * N : 5 * N] = rows.ravel()
    whole = np.linalg.inv(J.T @ J)[: K * N, : K * N]
    assert solved.variance_between(rows, 2, K) == pytest.approx(flat @ whole @ flat, rel=1e-6)


def test_halves_make_the_inverse_without_constants(problem):
    solved, J, _ = problem
    whole = np.linalg.inv(J[:, : K * N].T @ J[:, : K * N])
    for a, b in ((0, 0), (4, 4), (1, 13)):
        assert solved.half(a)[b - a :] @ solved.half(b) == pytest.approx(whole[a, b], rel=1e-6)


def test_what_is_large_is_factored_in_pieces(monkeypatch):
    band = np.zeros((7, N, 2 * N))
    band[:, :, 0] = 4.0
    monkeypatch.setattr(band_factor, "AT_ONCE_BYTES", 3 * band.nbytes // 7)
    assert band_factor.BandFactor(band).at_once == 3
    np.testing.assert_allclose(band[:, :, 0], 2.0)
