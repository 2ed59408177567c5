"""Steps taken back and let grow again, on a function that Gauss–Newton overshoots; and the damping itself."""

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.special import huber as scipy_huber

from bodyfit.estimator.residuals.gravity import gravity
from bodyfit.estimator.solver.step_control import FACTOR, FIRST_REACH, MOST_TAKEN_BACK, StepControl


def descend(x, steps=60):
    """The minimum of ½ r², r = atan(3 x) + x / 50, by damped steps as the estimator takes them."""
    control, kept = StepControl(), x
    for _ in range(steps):
        r, J = np.arctan(3 * x) + 0.02 * x, 3 / (1 + 9 * x**2) + 0.02
        cost = 0.5 * r**2
        if control.worse(cost):
            control, x = control.shorter(), kept
            if control.stuck:
                break
            r, J = np.arctan(3 * x) + 0.02 * x, 3 / (1 + 9 * x**2) + 0.02
        else:
            control, kept = control.kept(cost), x
        damping = 0.0 if not np.isfinite(control.reach) else control.reach**-2.0
        x = x - J * r / (J * J + damping)
    return x


def test_damped_descent_ends_in_the_minimum_where_plain_steps_diverge():
    plain = 2.0
    for _ in range(8):
        r, J = np.arctan(3 * plain) + 0.02 * plain, 3 / (1 + 9 * plain**2) + 0.02
        plain -= r / J
    best = minimize_scalar(lambda x: (np.arctan(3 * x) + 0.02 * x) ** 2, bracket=(-1, 1)).x
    assert abs(plain) > 2.0
    assert descend(2.0) == pytest.approx(best, abs=1e-6)


def test_steps_that_never_help_end_the_descent():
    control = StepControl().kept(1.0)
    for _ in range(6):
        assert not control.stuck and control.worse(1.1)
        control = control.shorter()
    assert control.stuck


def test_a_step_that_was_kept_lets_the_reach_grow_and_forgets_those_taken_back():
    short = StepControl().kept(1.0).shorter().shorter()
    longer = short.kept(0.9)
    assert short.taken_back == 2 and longer.taken_back == 0
    assert short.reach < longer.reach and not longer.settled
    assert longer.kept(0.9 * (1 - 1e-5)).settled


def test_without_a_limit_nothing_is_damped_and_with_one_a_turn_of_its_size_costs_half():
    assert StepControl().damping(4, 2) == []
    control = StepControl().kept(1.0).shorter()
    (part,) = control.damping(4, 2)
    ((_, _, J),) = part.jacobians
    turn = np.array([control.reach, 0.0, 0.0])
    cost = 0.5 * np.sum(part.weight[0, 0] * (J[0, 0] @ turn) ** 2)
    assert cost == pytest.approx(0.5)


def test_the_robust_cost_is_hubers_function_by_scipy():
    sd, alike = 0.5, 4.0
    size = np.array([0.1, 0.6, 0.8, 3.0, 20.0])
    force = np.array([0.0, 9.81, 0.0]) + size[:, None, None] * np.array([1.0, 0.0, 0.0])
    part = gravity(force, 9.81, sd, alike, np.ones((5, 1), bool))
    expected = scipy_huber(1.5 * sd, size).sum() / (alike * sd**2)
    assert part.robust_cost == pytest.approx(expected, rel=1e-12)
    assert part.cost < 0.6 * part.robust_cost


def test_steps_start_without_a_limit_and_get_one_when_the_cost_rises():
    first = StepControl().kept(100.0)
    assert math.isinf(first.reach) and not first.damping(3, 2) and not first.settled
    assert first.worse(100.01) and not first.worse(99.9) and not first.worse(100.0)
    back = first.shorter()
    assert back.reach == FIRST_REACH and math.isinf(back.ceiling) and back.cost == 100.0
    (damping,) = back.damping(3, 2)
    assert damping.weight.shape == (3, 2, 3) and damping.weight[0, 0, 0] == pytest.approx(FIRST_REACH**-2)


def test_a_reach_that_failed_is_not_tried_again():
    control = StepControl().kept(100.0).shorter().kept(90.0)
    assert control.reach == pytest.approx(FACTOR * FIRST_REACH)
    control = control.shorter().kept(80.0).kept(79.0)
    assert control.reach == control.ceiling == pytest.approx(FACTOR * FIRST_REACH / 2)


def test_settled_by_cost_and_stuck_after_so_many():
    control = StepControl().kept(100.0).kept(99.995)
    assert control.settled and not StepControl().kept(100.0).kept(99.0).settled
    for _ in range(MOST_TAKEN_BACK):
        assert not control.stuck
        control = control.shorter()
    assert control.stuck
