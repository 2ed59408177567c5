"""What the weights of residuals are meant to do: robust, correlated, off where nothing was measured."""

import numpy as np
import pytest

from bodyfit.core.robust import huber
from bodyfit.core.rotations import exp
from bodyfit.estimator.residuals.base import Linearised
from bodyfit.estimator.residuals.bias import bias_level
from bodyfit.estimator.residuals.field import field_heading, field_vector
from bodyfit.estimator.residuals.gravity import gravity, velocity_gain
from bodyfit.estimator.residuals.hinge import hinge
from bodyfit.estimator.residuals.joint_angle import joint_angle
from bodyfit.estimator.residuals.joint_centre import joint_centre
from bodyfit.estimator.residuals.reported_orientation import fused_orientation

ONE = np.array([0])
UP, FORWARD = np.array([0.0, 9.81, 0.0]), np.array([1.0, 0.0, 0.0])


def test_huber_is_one_inside_the_knee_and_then_falls_like_one_over_the_residual():
    sizes = np.array([0.0, 0.5, 1.4, 1.5, 3.0, 15.0])
    factors = huber(sizes[:, None] * np.array([0.6, 0.0, 0.8]) * 0.2, 0.2)
    np.testing.assert_allclose(factors, [1, 1, 1, 1, 0.5, 0.1], rtol=1e-12)


def test_huber_minimises_hubers_cost():
    """These weights give least squares the gradient of Huber 1964's cost: r inside, k σ outside."""
    r = np.linspace(-5, 5, 101)[:, None]
    pull = huber(r, 0.5, knee=2.0) * r[:, 0]
    np.testing.assert_allclose(pull, np.clip(r[:, 0], -1.0, 1.0), atol=1e-12)


def test_cost_is_half_the_weighted_square():
    residual = Linearised("r", np.array([[[1.0, 2.0]]]), (), np.array([[[2.0, 0.5]]]))
    assert residual.cost == pytest.approx(0.5 * (2 * 1 + 0.5 * 4))


def far_and_near(make):
    """Weights of a residual that is small, and one that is twenty standard deviations off."""
    return [make(size).weight[0, 0, 0] for size in (0.1, 20.0)]


@pytest.mark.parametrize(
    "make",
    [
        lambda s: gravity(np.array([[UP + 0.5 * s * FORWARD]]), 9.81, 0.5, 4.0, np.array([[True]])),
        lambda s: joint_centre(
            np.array([[UP + 0.5 * s * FORWARD]]), np.array([[UP]]), ONE, ONE + 1, np.array([0.5]), 4.0,
            np.array([[True]]),
        ),
        lambda s: field_vector(
            np.array([[[1, 0, 0.5 * s]]]), np.array([1.0, 0, 0]), ONE, 0.5, 4.0, np.array([[True]])
        ),
    ],
    ids=["gravity", "joint_centre", "field_vector"],
)  # fmt: skip
def test_outliers_count_linearly_and_correlated_ones_less(make):
    near, far = far_and_near(make)
    assert near == pytest.approx(1 / (4.0 * 0.25))
    assert far == pytest.approx(near * 1.5 / 20.0)


def test_angles_between_directions_are_robust_too():
    tilted = exp(np.array([[[0.0, 0, 0], [0.0, 0, 1.0]]]))
    axes = np.array([[[1.0, 0, 0], [1.0, 0, 0]]])
    weight = hinge(tilted, ONE, ONE + 1, axes, np.array([0.01]), 1.0).weight
    off = 2 * np.sin(0.5)  # chord of one radian
    np.testing.assert_allclose(weight, 1e4 * 1.5 * 0.01 / off)
    field = np.array([[[np.cos(0.3), 0, -np.sin(0.3)]]])
    weight = field_heading(field, ONE, 0.1, 2.0, np.array([[True]])).weight
    np.testing.assert_allclose(weight, 1.5 * 0.1 / 0.3 / (2.0 * 0.01))


def test_what_was_not_measured_has_no_weight():
    off, on = np.array([[False]]), np.array([[True]])
    force = np.array([[UP]])
    for known, expected in ((off, 0), (on, 3)):
        weights = [
            gravity(force, 9.81, 0.5, 1.0, known).weight,
            joint_centre(force, force, ONE, ONE + 1, np.array([0.5]), 1.0, known).weight,
            field_vector(force / 9.81, UP / 9.81, ONE, 0.1, 1.0, known).weight,
        ]
        assert [int((w > 0).sum()) for w in weights] == [expected] * 3
        assert bool(field_heading(np.array([[[1.0, 0, 0]]]), ONE, 0.1, 1.0, known).weight.any()) == bool(
            expected
        )


def test_a_bias_that_nothing_is_known_of_has_no_weight():
    variance = np.array([[0.25], [np.inf]])
    assert bias_level(np.ones((2, 1, 3)), np.zeros(3), variance).weight[:, 0, 0].tolist() == [4.0, 0.0]


def test_velocity_is_free_where_no_force_was_measured():
    """By 3 m/s within a second: more than a wearer gains, little enough to keep the equations solvable."""
    force, velocity = np.tile(UP, (3, 1, 1)), np.zeros((3, 1, 3))
    known = np.array([[True], [True], [False]])
    weight = velocity_gain(force, velocity, 9.81, 0.1, 0.2, known, ONE, 2).weight[:, 0, 0]
    np.testing.assert_allclose(1 / weight, [0.2**2 * 0.1, 3.0**2 * 0.1])


def test_an_orientation_fused_on_the_unit_is_tight_in_inclination_and_loose_in_heading():
    eye = np.eye(3)[None, None]
    alike = np.array([10.0, 50.0, 10.0])
    weight = fused_orientation(eye, eye, ONE, 0.02, 0.4, alike).weight[0, 0]
    np.testing.assert_allclose(1 / np.sqrt(weight * alike), [0.02, 0.4, 0.02])


@pytest.mark.parametrize(("sequence", "pole_deg", "share"), [("ZXY", 90.0, np.cos), ("YXY", 0.0, np.sin)])
def test_ranges_fade_towards_gimbal_lock(sequence, pole_deg, share):
    """Towards the pole the outer angles say ever less: by the square of the axes' volume, cos b or sin b."""
    middle = np.radians([90.0 - pole_deg, 30.0, 60.0, pole_deg])
    raw = np.stack([0 * middle + 0.2, middle, 0 * middle - 0.1], 1)
    excess = np.tile([0.001, 0.0, 0.0], (4, 1))
    R = np.broadcast_to(np.eye(3), (4, 3, 3))
    sd = np.array([0.1, np.inf, np.inf])
    found = joint_angle("joint range", R, excess, raw, sequence, np.ones(3), 0, 1, sd, 1.0).weight[:, 0, 0]
    assert found == pytest.approx(share(middle) ** 2 / 0.01, abs=1e-6)
    assert found[-1] == pytest.approx(0.0, abs=1e-6)
