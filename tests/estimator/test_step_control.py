"""Steps halved until the cost falls, on a function that Gauss–Newton overshoots; what is left at the end."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.special import huber as scipy_huber

from bodyfit.estimator.residuals.gravity import gravity
from bodyfit.estimator.solver.left_over import UNDER_WAY, under_way
from bodyfit.estimator.solver.step_control import LEAST_SHARE, SHORTER, StepControl


def descend(x, steps=60):
    """The minimum of ½ r², r = atan(3 x) + x / 50, by halved steps as the estimator takes them."""
    control, before, step = StepControl(), x, 0.0
    for _ in range(steps):
        while control.worse(0.5 * (np.arctan(3 * x) + 0.02 * x) ** 2) and not control.stuck:
            control = control.shorter()
            x = before + control.share * step
        r, J = np.arctan(3 * x) + 0.02 * x, 3 / (1 + 9 * x**2) + 0.02
        control, before, step = control.kept(0.5 * r**2), x, -r / J
        x = x + step
    return x


def test_halved_steps_end_in_the_minimum_where_plain_steps_diverge():
    plain = 2.0
    for _ in range(8):
        r, J = np.arctan(3 * plain) + 0.02 * plain, 3 / (1 + 9 * plain**2) + 0.02
        plain -= r / J
    best = minimize_scalar(lambda x: (np.arctan(3 * x) + 0.02 * x) ** 2, bracket=(-1, 1)).x
    assert abs(plain) > 2.0
    assert descend(2.0) == pytest.approx(best, abs=1e-6)


def test_steps_that_never_help_end_the_descent_where_it_was():
    control = StepControl().kept(1.0)
    shares = []
    while not control.stuck:
        assert control.worse(1.1)
        control = control.shorter()
        shares.append(control.share)
    assert shares[0] == SHORTER and shares[-2:] == [LEAST_SHARE, 0.0]
    assert control.stuck and control.share == 0.0


def test_a_step_that_was_kept_makes_the_next_whole_again():
    short = StepControl().kept(1.0).shorter().shorter()
    assert short.share == 0.25 and short.cost == 1.0
    assert short.kept(0.9).share == 1.0 and not short.kept(0.9).settled


def test_settled_by_what_a_whole_step_changes():
    control = StepControl().kept(100.0)
    assert control.worse(100.01) and not control.worse(99.9) and not control.worse(100.0)
    assert not control.settled and control.kept(99.995).settled and not control.kept(99.0).settled
    assert not control.shorter().kept(99.9999).settled  # it may have overshot to the same height


def moved(by_child, heading_sd):
    """What is left of a step that turned only the second of two units about the vertical."""
    problem = SimpleNamespace(
        ties=[SimpleNamespace(parent=0, child=1)], watched=lambda units: np.array([True, True, False])
    )
    step = np.zeros((3, 2, 3))
    step[:, 1, 1] = by_child, by_child, 99.0  # the last lies in a gap
    covariance = np.zeros((3, 2, 3, 3))
    covariance[..., 1, 1] = heading_sd**2
    return under_way(problem, step, covariance, covariance[:, :1])


def test_what_is_left_is_judged_beside_how_sure_it_is():
    units, joints = moved(0.2, heading_sd=1.0)
    assert units == pytest.approx([0.0, 0.2]) and joints == pytest.approx([0.2])
    units, joints = moved(0.9 * UNDER_WAY, heading_sd=1.0)
    assert not units.any() and not joints.any()


def test_the_robust_cost_is_hubers_function_by_scipy():
    sd, alike = 0.5, 4.0
    size = np.array([0.1, 0.6, 0.8, 3.0, 20.0])
    force = np.array([0.0, 9.81, 0.0]) + size[:, None, None] * np.array([1.0, 0.0, 0.0])
    part = gravity(force, 9.81, sd, alike, np.ones((5, 1), bool))
    expected = scipy_huber(1.5 * sd, size).sum() / (alike * sd**2)
    assert part.robust_cost == pytest.approx(expected, rel=1e-12)
    assert part.cost < 0.6 * part.robust_cost
