"""Steps taken back and let grow again, on a function that Gauss–Newton overshoots; and the damping itself."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from bodyfit.estimator.solver.step_control import StepControl


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
