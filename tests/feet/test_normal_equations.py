"""The bordered block tridiagonal problem against numpy's dense least squares."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.feet.normal_equations import COMMON, HERE, NEXT, NormalEquations

K, N, C, D = 7, 3, 2, 4


@pytest.fixture
def problem():
    rng = np.random.default_rng(0)
    here, there, common = (rng.normal(size=(K - 1, D, n)) for n in (N, N, C))
    own, own_common = rng.normal(size=(K, D, N)), rng.normal(size=(K, D, C))
    r, r_own, sd = rng.normal(size=(K - 1, D)), rng.normal(size=(K, D)), rng.uniform(0.5, 2, K)
    to = NormalEquations(K, N, C)
    every = slice(0, C)
    parts = [(HERE, slice(0, 2), here[..., :2]), (HERE, 2, here[..., 2:]), (NEXT, slice(0, N), there)]
    to.add(r, [*parts, (COMMON, every, common)], sd[:-1])
    to.add(r_own, [(HERE, slice(0, N), own), (COMMON, every, own_common)], sd, np.arange(K))
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
    return to.solved(), np.concatenate(rows), np.concatenate(values)


def test_step_is_that_of_dense_least_squares(problem):
    solved, J, r = problem
    x = np.linalg.lstsq(J, -r, rcond=None)[0]
    np.testing.assert_allclose(solved.step.ravel(), x[: K * N], atol=1e-6)
    np.testing.assert_allclose(solved.constants, x[K * N :], atol=1e-6)


def test_variance_is_that_of_the_whole_inverse(problem):
    solved, J, _ = problem
    L = np.random.default_rng(1).normal(size=(3, K, N))
    whole = np.linalg.inv(J.T @ J)[: K * N, : K * N]
    flat = L.reshape(3, -1)
    np.testing.assert_allclose(solved.variance(L), np.einsum("qa,ab,qb->q", flat, whole, flat), rtol=1e-6)


def test_variance_of_a_stretch_is_that_of_the_whole(problem):
    solved, _, _ = problem
    rows = np.random.default_rng(2).normal(size=(3, N))
    whole = np.zeros((1, K, N))
    whole[0, 2:5] = rows
    assert solved.variance_between(rows, 2, K) == pytest.approx(solved.variance(whole)[0], rel=1e-6)
