"""The smoother's solver against a dense solve, scipy's least squares, and itself in chunks."""
# pyright: reportArgumentType=false

from operator import attrgetter

import numpy as np
import pytest
from scipy.optimize import least_squares

import bodyfit.estimator.solver.block_tridiagonal as smoother
from bodyfit.errors import CannotReconstructError
from bodyfit.estimator.residuals.base import Linearised
from bodyfit.estimator.solver.block_tridiagonal import assemble, numbered, side_by_side, solve

SLOTS = 5  # unknown three-vectors per keyframe


def toy(keyframes: int, seed: int = 0) -> list[Linearised]:
    """Random residuals of every shape: one slot, between slots, between neighbours in time, switched off."""
    rng = np.random.default_rng(seed)

    def block(count, entries, m, *sides):
        value = rng.normal(size=(count, entries, m))
        jacobians = tuple(
            (np.array(slots), shift, rng.normal(size=(count, entries, m, 3))) for slots, shift in sides
        )
        weight = rng.uniform(0.5, 2.0, value.shape) * (rng.random((count, entries, 1)) < 0.8)
        return Linearised("random", value, jacobians, weight)

    level = block(keyframes, SLOTS, 3, (range(SLOTS), 0))
    level.weight[:] = 0.3  # holds every unknown, so that the problem has one solution
    return [
        level,
        block(keyframes, 4, 1, ([0, 0, 2, 4], 0)),
        block(keyframes, 3, 3, ([0, 1, 1], 0), ([1, 2, 4], 0)),
        block(keyframes - 1, 2, 3, ([0, 3], 0), ([0, 3], 1)),
        block(keyframes - 1, 3, 2, ([0, 1, 2], 0), ([2, 1, 2], 1), ([3, 4, 3], 0)),
    ]


def stacked(residuals: list[Linearised], keyframes: int) -> tuple[np.ndarray, np.ndarray]:
    """Weighted Jacobian and value of all residuals as one dense system, entry by entry."""
    rows, values = [], []
    for residual in residuals:
        count, entries, m = residual.value.shape
        for k in range(count):
            for e in range(entries):
                for i in range(m):
                    row = np.zeros((keyframes, SLOTS, 3))
                    for slots, shift, J in residual.jacobians:
                        row[k + shift, slots[e]] += J[k, e, i]
                    root = np.sqrt(residual.weight[k, e, i])
                    rows.append(root * row.ravel())
                    values.append(root * residual.value[k, e, i])
    return np.array(rows), np.array(values)


@pytest.mark.parametrize("keyframes", [2, 3, 9, 25, 30])
def test_step_equals_a_dense_solve(keyframes):
    residuals = toy(keyframes)
    J, r = stacked(residuals, keyframes)
    dense = np.linalg.solve(J.T @ J, -J.T @ r).reshape(keyframes, SLOTS, 3)
    np.testing.assert_allclose(solve(residuals, SLOTS, keyframes), dense, atol=1e-12)


def test_step_equals_scipys_on_a_linear_problem():
    residuals = toy(6)
    J, r = stacked(residuals, 6)
    found = least_squares(lambda x: r + J @ x, np.zeros(J.shape[1]), jac=lambda x: J, xtol=1e-14, gtol=1e-14)
    np.testing.assert_allclose(solve(residuals, SLOTS, 6).ravel(), found.x, atol=1e-8)


def own(blocks):
    """(k, n, n) own blocks, whole."""
    out = np.zeros((blocks.k, blocks.slots, 3, blocks.slots, 3))
    for (a, b), values in blocks.own.items():
        out[:, b, :, a, :] = np.swapaxes(values, -1, -2)
        out[:, a, :, b, :] = values
    return out.reshape(blocks.k, blocks.n, blocks.n)


def test_normal_equations_equal_the_dense_ones():
    keyframes, n = 7, 3 * SLOTS
    residuals = toy(keyframes)
    J, r = stacked(residuals, keyframes)
    H, g = (J.T @ J).reshape(keyframes, n, keyframes, n), (J.T @ r).reshape(keyframes, n)
    blocks = assemble(residuals, SLOTS, 0, keyframes)
    at = np.arange(keyframes)
    np.testing.assert_allclose(own(blocks), H[at, :, at], atol=1e-12)
    np.testing.assert_allclose(blocks.upper[:-1], H[at[:-1], :, at[1:]], atol=1e-12)
    np.testing.assert_allclose(blocks.gradient, g, atol=1e-12)
    assert not blocks.upper[-1].any()


@pytest.mark.parametrize("cut", [1, 3, 6])
def test_normal_equations_of_two_parts_are_those_of_the_whole(cut):
    residuals = toy(7)
    whole, parts = assemble(residuals, SLOTS, 0, 7), [(0, cut), (cut, 7)]
    for read in (own, attrgetter("upper"), attrgetter("gradient")):
        joined = [read(assemble(residuals, SLOTS, a, b)) for a, b in parts]
        np.testing.assert_allclose(np.concatenate(joined), read(whole), atol=1e-13)


@pytest.mark.parametrize("keyframes", [17, 24, 25, 31])  # in chunks of eight; of 17 and 25 one is left over
def test_chunks_change_nothing(monkeypatch, keyframes):
    residuals = toy(keyframes)
    whole = solve(residuals, SLOTS, keyframes)
    monkeypatch.setattr(smoother, "WHOLE_BYTES", 1.0)
    monkeypatch.setattr(smoother, "CHUNK_BYTES", 1.0)
    np.testing.assert_allclose(solve(residuals, SLOTS, keyframes), whole, atol=1e-10)


def test_chunks_are_really_made(monkeypatch):
    lengths = []

    def counted(residuals, slots, start, end):
        lengths.append(end - start)
        return assemble(residuals, slots, start, end)

    monkeypatch.setattr(smoother, "WHOLE_BYTES", 1.0)
    monkeypatch.setattr(smoother, "CHUNK_BYTES", 1.0)
    monkeypatch.setattr(smoother, "assemble", counted)
    solve(toy(25), SLOTS, 25)
    assert max(lengths) == 8 and lengths[:4] == [8, 8, 8, 1]


def test_slots_are_numbered_so_that_the_band_is_narrow():
    """Six units and as many biases, each met by its unit's next keyframe: little more than one block."""
    K, units = 6, np.arange(6)
    eye, ones = np.broadcast_to(np.eye(3), (K - 1, 6, 3, 3)), np.ones((K - 1, 6, 3))
    turn = Linearised("turn", ones, ((units, 0, eye), (6 + units, 1, -eye)), ones)
    place = side_by_side([turn], 12)
    assert sorted(place) == list(range(12))
    np.testing.assert_array_equal(np.abs(place[:6] - place[6:]), 1)
    assert len(assemble([turn], 12, 0, K).band()) == 36 + 3 * 7
    assert len(assemble(numbered([turn], place), 12, 0, K).band()) <= 36 + 3 * 2


def test_what_nothing_holds_gets_a_clear_error():
    """Slot 1 of the toy without its level is tied to the others' differences only, never to a place."""
    K = 5
    eye = np.broadcast_to(np.eye(3), (K, 1, 3, 3))
    one, ones = np.array([0]), np.ones((K, 1, 3))
    held = Linearised("held", ones, ((one, 0, eye),), ones)
    walk = Linearised("walk", ones[1:], ((one + 1, 0, -eye[1:]), (one + 1, 1, eye[1:])), ones[1:])
    with pytest.raises(CannotReconstructError) as caught:
        solve([held, walk], 2, K)
    message = str(caught.value)
    assert "can't be determined from these sensors" in message and "singular" in message
    assert "add a sensor or a unit" in message
    assert caught.value.exit_code == 1


def test_residuals_are_left_as_they_were():
    residuals = toy(9)
    before = [(r.value.copy(), r.weight.copy(), [J.copy() for _, _, J in r.jacobians]) for r in residuals]
    solve(residuals, SLOTS, 9)
    for residual, (value, weight, jacobians) in zip(residuals, before, strict=True):
        np.testing.assert_array_equal(residual.value, value)
        np.testing.assert_array_equal(residual.weight, weight)
        for (_, _, J), old in zip(residual.jacobians, jacobians, strict=True):
            np.testing.assert_array_equal(J, old)
