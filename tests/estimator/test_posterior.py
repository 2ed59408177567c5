"""Covariance of the smoother's unknowns and of constants, against dense inverses and against sampling."""

import dataclasses

import numpy as np
import pytest

from bodyfit.estimator.residuals.base import Linearised
from bodyfit.estimator.solver import block_tridiagonal
from bodyfit.estimator.solver.marginal_covariance import posterior, solve_with_constants

SLOTS = 2
CONSTANTS = 5
N = 3 * SLOTS


def problem(seed, keyframes):
    """Random residuals: two that constants enter, at keyframes and between them, and a weak prior."""
    rng = np.random.default_rng(seed)
    at = np.arange(SLOTS)

    def J(count, columns=3):
        return rng.normal(size=(count, SLOTS, 3, columns))

    def weight(count):
        return rng.uniform(0.2, 3.0, (count, SLOTS, 3))

    K, near = keyframes, keyframes - 1
    own = Linearised(
        "own", np.zeros((K, SLOTS, 3)), ((at, 0, J(K)),), weight(K), (np.array([[0, 1], [2, 3]]), J(K, 2))
    )
    between = Linearised(
        "between",
        np.zeros((near, SLOTS, 3)),
        ((at, 0, J(near)), (at, 1, J(near))),
        weight(near),
        (np.array([[1, 4], [4, 0]]), J(near, 2)),
    )
    pair = Linearised(
        "pair",
        np.zeros((K, 1, 3)),
        ((np.array([0]), 0, J(K)[:, :1]), (np.array([1]), 0, J(K)[:, :1])),
        weight(K)[:, :1],
    )
    eye = np.broadcast_to(np.eye(3), (K, SLOTS, 3, 3))
    level = Linearised("level", np.zeros((K, SLOTS, 3)), ((at, 0, eye),), np.full((K, SLOTS, 3), 0.1))
    A = rng.normal(size=(CONSTANTS, CONSTANTS))
    return [own, between, pair, level], A @ A.T + 0.3 * np.eye(CONSTANTS)


def dense(parts, keyframes):
    """(rows, unknowns and constants), the residuals' derivatives by everything, and (rows,) their weights."""
    rows, weights = [], []
    for part in parts:
        for k, e in np.ndindex(part.value.shape[:2]):
            row = np.zeros((3, keyframes * N + CONSTANTS))
            for slots, shift, J in part.jacobians:
                first = (k + shift) * N + 3 * slots[e]
                row[:, first : first + 3] += J[k, e]
            if part.constants is not None:
                row[:, keyframes * N + part.constants[0][e]] += part.constants[1][k, e]
            rows.append(row)
            weights.append(part.weight[k, e])
    return np.concatenate(rows), np.concatenate(weights)


def covariances(parts, keyframes, prior, allowed):
    """What the module says: (K, n, n) of the unknowns, and of the constants."""
    out = np.full((keyframes, N, N), np.nan)

    def visit(at, S, X, sigma):
        out[at] = S + X @ sigma @ np.swapaxes(X, -1, -2)

    constants = posterior(parts, SLOTS, keyframes, prior, allowed, visit)
    return out, constants


def considered(parts, keyframes, prior, allowed):
    """Covariance of all errors, the long way: the estimator as a matrix, then what goes into it.

    The estimator solves for all but the constants that it only allows for (consider parameters, Schmidt 1966;
    Bierman 1977, Factorization Methods, ch. VIII, both from memory). With z = A y + B e + noise and a prior
    observation of the rest, ŷ = G z + ..., its error is −G B e and what the noise does.
    """
    A, w = dense(parts, keyframes)
    unknowns = keyframes * N
    fixed = np.r_[np.zeros(unknowns, bool), allowed]
    E, rest, found = A[:, fixed], A[:, ~fixed], np.flatnonzero(~allowed)
    H = rest.T @ (w[:, None] * rest)
    H[unknowns:, unknowns:] += prior[np.ix_(found, found)]
    inverse = np.linalg.inv(H)
    pull = -inverse @ rest.T @ (w[:, None] * E)
    P = np.linalg.inv(prior[np.ix_(allowed, allowed)])
    whole = np.empty((len(fixed), len(fixed)))
    whole[np.ix_(~fixed, ~fixed)] = inverse + pull @ P @ pull.T
    whole[np.ix_(~fixed, fixed)] = pull @ P
    whole[np.ix_(fixed, ~fixed)] = (pull @ P).T
    whole[np.ix_(fixed, fixed)] = P
    return whole


def separated(prior, allowed):
    """The prior without ties between constants of either kind, as the model of both has none."""
    return prior * (allowed[:, None] == allowed)


CHUNKS = {
    "whole": None,
    "three chunks": [(0, 3), (3, 5), (5, 9)],
    "one by one": [(k, k + 1) for k in range(9)],
}
ALLOWED = {
    "all found": np.zeros(CONSTANTS, bool),
    "some allowed for": np.array([False, True, False, False, True]),
    "all allowed for": np.ones(CONSTANTS, bool),
}


@pytest.mark.parametrize("chunks", CHUNKS.values(), ids=CHUNKS)
@pytest.mark.parametrize("allowed", ALLOWED.values(), ids=ALLOWED)
@pytest.mark.parametrize("seed", range(3))
def test_it_is_the_dense_inverse(monkeypatch, chunks, allowed, seed):
    K = 9
    parts, prior = problem(seed, K)
    prior = separated(prior, allowed)
    if chunks:
        monkeypatch.setattr(block_tridiagonal, "chunks_of", lambda slots, keyframes: chunks)
    unknowns, constants = covariances(parts, K, prior, allowed)
    whole = considered(parts, K, prior, allowed)
    for k in range(K):
        own = slice(k * N, k * N + N)
        np.testing.assert_allclose(unknowns[k], whole[own, own], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(constants, whole[K * N :, K * N :], rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("keyframes", [2, 11])
def test_without_constants_it_is_the_inverse_of_the_normal_matrix(keyframes):
    parts = [dataclasses.replace(part, constants=None) for part in problem(5, keyframes)[0]]
    unknowns, constants = covariances(parts, keyframes, np.zeros((0, 0)), np.zeros(0, bool))
    A, w = dense(parts, keyframes)
    inverse = np.linalg.inv((A.T @ (w[:, None] * A))[: keyframes * N, : keyframes * N])
    for k in range(keyframes):
        own = slice(k * N, k * N + N)
        np.testing.assert_allclose(unknowns[k], inverse[own, own], rtol=1e-9, atol=1e-9)
    assert constants.shape == (0, 0)


def test_only_the_first_slots_are_told_of_when_asked_for():
    parts, prior = problem(1, 6)
    whole, first = np.full((6, N, N), np.nan), np.full((6, 3, 3), np.nan)
    for out, shown in ((whole, None), (first, 1)):

        def visit(at, S, X, sigma, out=out):
            out[at] = S + X @ sigma @ np.swapaxes(X, -1, -2)

        posterior(parts, SLOTS, 6, prior, ALLOWED["all found"], visit, shown)
    np.testing.assert_allclose(first, whole[:, :3, :3], rtol=1e-12)


def test_found_constants_alone_are_plain_least_squares():
    """With nothing only allowed for, all is one inverse: numpy's of the whole information."""
    K = 6
    parts, prior = problem(7, K)
    A, w = dense(parts, K)
    H = A.T @ (w[:, None] * A)
    H[K * N :, K * N :] += prior
    unknowns, constants = covariances(parts, K, prior, ALLOWED["all found"])
    C = np.linalg.inv(H)
    np.testing.assert_allclose(constants, C[K * N :, K * N :], atol=1e-9)
    np.testing.assert_allclose(unknowns[3], C[3 * N : 4 * N, 3 * N : 4 * N], atol=1e-9)


def test_allowing_for_a_constant_never_makes_surer_than_finding_it():
    K = 9
    parts, prior = problem(2, K)
    prior = separated(prior, ALLOWED["some allowed for"])
    found = covariances(parts, K, prior, ALLOWED["all found"])[0]
    allowed = covariances(parts, K, prior, ALLOWED["some allowed for"])[0]
    less = np.linalg.eigvalsh(allowed - found)
    assert less.min() > -1e-9
    assert less.max() > 1e-3


def test_the_spread_of_what_is_solved_from_drawn_noise_is_as_said():
    """40 keyframes and 4000 draws: standard deviations within 6 %, that is over five of their own."""
    K, draws, rng = 40, 4000, np.random.default_rng(4)
    allowed = ALLOWED["some allowed for"]
    parts, prior = problem(11, K)
    prior = separated(prior, allowed)
    A, w = dense(parts, K)
    held = np.r_[np.zeros(K * N, bool), allowed]
    truth = rng.normal(size=(K * N + CONSTANTS, draws))
    truth[K * N :] = np.linalg.solve(np.linalg.cholesky(prior).T, rng.normal(size=(CONSTANTS, draws)))
    z = A @ truth + rng.normal(size=(len(w), draws)) / np.sqrt(w)[:, None]
    rest, own = A[:, ~held], prior[np.ix_(~allowed, ~allowed)]
    H = rest.T @ (w[:, None] * rest)
    H[K * N :, K * N :] += own  # the constants are drawn about zero, so the prior pulls towards zero
    error = np.linalg.solve(H, rest.T @ (w[:, None] * z)) - truth[~held]
    said = covariances(parts, K, prior, allowed)
    sd = np.sqrt(np.r_[np.diagonal(said[0], axis1=1, axis2=2).ravel(), np.diag(said[1])[~allowed]])
    np.testing.assert_allclose(error.std(1) / sd, 1.0, atol=0.06)
    assert abs(np.mean(error.std(1) / sd) - 1) < 0.01


@pytest.mark.parametrize("chunked", [False, True], ids=["whole", "in chunks"])
def test_a_step_with_constants_is_numpys_least_squares(chunked, monkeypatch):
    keyframes = 23
    parts, prior = problem(5, keyframes)
    rng = np.random.default_rng(8)
    parts = [dataclasses.replace(part, value=rng.normal(size=part.value.shape)) for part in parts]
    pull = rng.normal(size=CONSTANTS)
    if chunked:
        monkeypatch.setattr(block_tridiagonal, "chunks_of", lambda *_: [(0, 9), (9, 17), (17, 23)])
    step, change = solve_with_constants(parts, SLOTS, keyframes, prior, pull)
    A, weight = dense(parts, keyframes)
    value = np.concatenate([part.value.reshape(-1) for part in parts])
    normal, gradient = A.T @ (weight[:, None] * A), A.T @ (weight * value)
    normal[-CONSTANTS:, -CONSTANTS:] += prior
    gradient[-CONSTANTS:] += pull
    expected = -np.linalg.solve(normal, gradient)
    np.testing.assert_allclose(step.ravel(), expected[:-CONSTANTS], atol=1e-9)
    np.testing.assert_allclose(change, expected[-CONSTANTS:], atol=1e-9)
