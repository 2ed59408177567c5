"""Rotation maths against scipy's Rotation and matrix exponential, near zero, near π, and in batches."""
# pyright: reportArgumentType=false, reportCallIssue=false

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.spatial.transform import Rotation

from bodyfit.core.rotations import apply, cross, exp, heading_matrix, left_jacobian_inverse, log, skew

DIRECTIONS = np.array([[1, 0, 0], [0, -1, 0], [0.6, 0.0, 0.8], [1, 2, 3], [-2, 1, 0.5]], float)
DIRECTIONS /= np.linalg.norm(DIRECTIONS, axis=1, keepdims=True)
ANGLES = [0.0, 1e-12, 1e-7, 0.99e-4, 1.01e-4, 1e-3, 0.5, 2.0, np.pi - 1e-3, np.pi - 1e-6, np.pi]


@pytest.fixture(params=ANGLES, ids=lambda angle: f"{angle:.3g} rad")
def vectors(request):
    return request.param * DIRECTIONS


def cross_matrix(v):
    return np.cross(np.eye(3), v)  # row i is e_i × v


def test_skew_is_the_cross_product():
    v, w = np.random.default_rng(1).normal(size=(2, 4, 5, 3))
    np.testing.assert_allclose(apply(skew(v), w), np.cross(v, w), atol=1e-15)


@pytest.mark.parametrize("shapes", [((4, 5, 3), (4, 5, 3)), ((4, 5, 3), (3,)), ((3,), (4, 5, 3))])
def test_the_cross_product_is_numpys_to_the_last_bit(shapes):
    v, w = (np.random.default_rng(2).normal(size=shape) for shape in shapes)
    np.testing.assert_array_equal(cross(v, w), np.cross(v, w))


def test_exp_is_scipys_matrix_exponential(vectors):
    expected = np.array([expm(cross_matrix(v)) for v in vectors])
    np.testing.assert_allclose(exp(vectors), expected, atol=1e-14)


def test_exp_gives_rotations(vectors):
    R = exp(vectors)
    np.testing.assert_allclose(R @ np.swapaxes(R, -1, -2), np.broadcast_to(np.eye(3), R.shape), atol=1e-14)
    np.testing.assert_allclose(np.linalg.det(R), 1.0, atol=1e-14)


def test_log_undoes_exp(vectors):
    back = log(exp(vectors))
    if np.linalg.norm(vectors[0]) > np.pi - 1e-9:  # at π both signs are the same rotation
        back *= np.sign(np.sum(back * vectors, -1, keepdims=True))
    np.testing.assert_allclose(back, vectors, atol=1e-9)


def test_log_keeps_the_angle_within_half_a_turn():
    v = np.random.default_rng(2).normal(size=(500, 3)) * 3
    angles = np.linalg.norm(log(exp(v)), axis=-1)
    assert angles.max() <= np.pi + 1e-12
    np.testing.assert_allclose(np.cos(angles), np.cos(np.linalg.norm(v, axis=-1)), atol=1e-12)


def test_log_is_scipys():
    R = Rotation.random(200, random_state=3)
    np.testing.assert_allclose(log(R.as_matrix()), R.as_rotvec(), atol=1e-9)


def test_left_jacobian_inverse_against_the_series_of_the_left_jacobian():
    """J_l(v) = ∫₀¹ Exp(s v) ds (Solà et al. 2018, eq. 143), which expm of a block matrix yields exactly."""
    for angle in [*ANGLES[:-1], 3.5, 5.0, 6.0]:
        for v in angle * DIRECTIONS:
            block = np.zeros((6, 6))
            block[:3, :3], block[:3, 3:] = (
                cross_matrix(v),
                np.eye(3),
            )  # expm([[K, I], [0, 0]]) holds ∫ Exp(s v) ds
            J = expm(block)[:3, 3:]
            np.testing.assert_allclose(left_jacobian_inverse(v) @ J, np.eye(3), atol=1e-12)


@pytest.mark.parametrize("angle", [0.0, 1e-8, 1.01e-4, 0.3, 2.0, 3.1])
def test_left_jacobian_inverse_is_the_slope_of_log(angle):
    h = 1e-6
    for v in angle * DIRECTIONS:
        steps = h * np.concatenate([np.eye(3), -np.eye(3)])
        moved = log(exp(steps) @ exp(v))
        slope = ((moved[:3] - moved[3:]) / (2 * h)).T
        np.testing.assert_allclose(left_jacobian_inverse(v), slope, atol=1e-8)


def test_left_jacobian_inverse_transposed_serves_the_right():
    v, delta = np.array([0.4, -1.1, 0.7]), 1e-6 * np.array([1.0, -2.0, 0.5])
    change = log(exp(v) @ exp(delta)) - v
    np.testing.assert_allclose(change, left_jacobian_inverse(v).T @ delta, atol=1e-11)


def test_left_jacobian_inverse_is_smooth_where_its_formula_changes():
    v = DIRECTIONS[3]
    below, above = (left_jacobian_inverse(a * v) for a in (0.9999e-4, 1.0001e-4))
    np.testing.assert_allclose(below, above, atol=1e-7)


def test_heading_matrix_turns_about_up():
    angle = np.array([[-3.0, 0.0], [0.5, 2.0]])
    expected = Rotation.from_rotvec(np.outer(angle.ravel(), [0, 1, 0])).as_matrix().reshape(2, 2, 3, 3)
    np.testing.assert_allclose(heading_matrix(angle), expected, atol=1e-15)
    np.testing.assert_array_equal(heading_matrix(0.5), heading_matrix(np.array([0.5]))[0])


def test_batches_equal_a_loop():
    v = np.random.default_rng(4).normal(size=(6, 2, 3)) * np.geomspace(1e-9, 2, 6)[:, None, None]
    R = exp(v)
    for function, values in ((skew, v), (exp, v), (left_jacobian_inverse, v), (log, R)):
        looped = np.array([[function(value) for value in row] for row in values])
        np.testing.assert_allclose(function(values), looped, rtol=1e-15, atol=1e-15)
        assert function(values[:0]).shape == (0, *looped.shape[1:])
    looped = np.array([[apply(A, b) for A, b in zip(*rows, strict=True)] for rows in zip(R, v, strict=True)])
    np.testing.assert_allclose(apply(R, v), looped, rtol=1e-14, atol=1e-15)
