"""The path of a foot by formulas: lengths, heights, bias, what is refused."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from bodyfit.core.rotations import UP
from bodyfit.errors import InputError
from bodyfit.feet.problem import FootProblem, LimbStart, gravity_off
from bodyfit.feet.samples import foot_samples
from bodyfit.feet.smoother import foot_path, lengths
from tests.feet.stepping import stepping


def marks(made):
    """Middles of the stances between swings."""
    return 0.5 * (made.strike[:-1] + made.off[1:])


@pytest.mark.parametrize("length", [0.6, 1.3])
def test_stride_lengths(length):
    made = stepping(length)
    path = foot_path(foot_samples(made.unit, 9.80665))
    at = marks(made)
    found, sd = lengths(path, at[:-1], at[1:])
    assert np.abs(found - length).max() < 0.02
    assert np.all(np.abs(found - length) < 3 * sd) and np.all(sd < 0.05)


def test_steps_of_stairs():
    made = stepping(0.6, rise=0.34)
    path = foot_path(foot_samples(made.unit, 9.80665))
    height = np.interp(marks(made), path.time, path.state.ground)
    assert np.abs(np.diff(height) - 0.34).max() < 0.02


def test_a_biased_gyroscope_is_found():
    made = stepping()
    bias = np.array([0.004, -0.003, 0.005])
    unit = dataclasses.replace(made.unit, gyroscope=made.unit.gyroscope + bias)
    path = foot_path(foot_samples(unit, 9.80665))
    assert np.abs(path.state.bias_rate - bias)[[0, 2]].max() < 1e-3  # about up, nothing tells


def test_a_gyroscope_that_is_early_is_found():
    """Late ones are tried on recordings: a swing that is the same backwards can't tell late from early."""
    made = stepping()
    late = np.stack(
        [np.interp(made.unit.time + 0.015, made.unit.time, w) for w in np.transpose(made.unit.gyroscope)], 1
    )
    path = foot_path(foot_samples(dataclasses.replace(made.unit, gyroscope=late), 9.80665))
    assert path.state.lag == pytest.approx(-0.015, abs=0.004)


@pytest.mark.parametrize("rests", [True, False])
def test_gravity_is_read_at_rest_or_on_average(rests):
    """2 % off: by a foot that rests a tenth of the time, else pushed up, or by one that sways all along."""
    samples = foot_samples(stepping().unit, 9.80665)
    sway = np.cos(2 * np.pi * 2.0 * samples.time)
    still = np.arange(len(sway)) < 0.1 * len(sway)
    more = np.where(still, 0.0, 1.0) if rests else sway
    force = (9.80665 * 1.02 + more)[:, None] * UP
    quiet = np.where(still, 0.0, 1.0)[::4] if rests else -sway[::4]
    samples = dataclasses.replace(samples, force=force)
    assert gravity_off(samples, force - 9.80665 * UP, quiet) == pytest.approx(0.02, abs=0.002)


def slipping(first, last, speed):
    """A walk's problem, and its state with stances from one to another that slip, m/s."""
    samples = foot_samples(stepping().unit, 9.80665)
    path = foot_path(samples)
    start = LimbStart(path.state.R, False, path.state.ball, path.state.heel, np.eye(3) / 0.12**2)
    problem = FootProblem(samples, start, path.weights, path.energies, path.stances, 0.0)
    velocity = path.state.velocity.copy()
    velocity[path.stances[first][0] - 5 : path.stances[last][1] + 5, 0] += speed
    return problem, dataclasses.replace(path.state, velocity=velocity)


@pytest.mark.parametrize(("speed", "stands"), [(0.2, True), (1.0, False)])
def test_a_stance_that_slips_slowly_is_kept(speed, stands):
    """Without it two swings would be one; what moves as fast as a swing is none."""
    problem, state = slipping(3, 3, speed)
    a, b = problem.found[3]
    weight, sd = problem.believed(state, problem.between(state), 1.0)
    assert (weight[a:b].sum() * problem.samples.key_step > 0.05) == stands
    assert (sd[a:b].min() > speed) == stands


@pytest.mark.parametrize(("last", "lost"), [(3, False), (5, True)])
def test_nobody_flies_for_longer_than_a_swing(last, lost):
    """A single stance that moves is a glide; several in a row stood, whatever their path has drifted to."""
    problem, state = slipping(3, last, 1.0)
    weight, _ = problem.believed(state, problem.between(state), 1.0)
    assert problem.lost(weight) == lost
    weight, sd = problem.believed(state, problem.between(state), 1.0, far_too=True)
    stood = [weight[a:b].sum() * problem.samples.key_step > 0.05 for a, b in problem.found[3 : last + 1]]
    assert stood == [lost] * len(stood)
    assert (sd[problem.found[3][0] : problem.found[last][1]].max() > 1.0) == lost


def test_ball_and_heel_lie_below_a_unit_that_never_tips():
    made = stepping(tips=0.0)
    path = foot_path(foot_samples(made.unit, 9.80665))
    assert path.state.ball @ UP == pytest.approx(-0.05, abs=0.01)


def test_a_unit_without_gyroscope_is_refused():
    unit = stepping().unit.only(frozenset({"accelerometer"}))
    with pytest.raises(InputError, match=r"units\.foot: no gyroscope, expected accelerometer and gyroscope"):
        foot_samples(unit, 9.80665)


def test_too_short_a_recording_is_refused():
    with pytest.raises(InputError, match=r"1\.\d+ s of samples, expected at least 2 s"):
        foot_samples(stepping().unit.between(0.0, 1.5), 9.80665)
