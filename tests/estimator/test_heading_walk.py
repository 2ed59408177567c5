"""From the root outwards, each unit's heading by its neighbour: by their joint, or by the field."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from estimated import estimated
from hinged_chain import chain, swinging
from scipy.optimize import minimize_scalar

from bodyfit.core.rotations import heading_matrix
from bodyfit.estimator.initial.heading_walk import Walk, relative_heading, uniform_sum
from bodyfit.recording.keyframe_averages import averages
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

TURNED = (0.4, 2.0, -1.5)  # rad, by which the units' headings are off at the start


@pytest.fixture(scope="module")
def solved():
    """A chain of perfect units after a fit without a magnetometer, and one after a fit with it."""
    made = simulate(swinging(12.0), None, SimulationSettings.perfect(), model=chain(known=True))
    return tuple(
        estimated(made.capture, sensors=sensors)[1] for sensors in (("accelerometer", "gyroscope"), None)
    )


def walked(found, turned, lost=None) -> Walk:
    """The walk from the fit's rotations, each unit's heading turned: rad, (U,) or (K + 1, U)."""
    problem, R = found.problem, heading_matrix(np.asarray(turned)) @ found.state.R
    average = averages(problem.signals, problem.turns, R)
    if lost is not None:
        problem = dataclasses.replace(problem, signals=dataclasses.replace(problem.signals, lost=lost))
    walk = Walk(problem, R, average, dataclasses.replace(found.body, facing=None), found.trust)
    walk.turn(problem.root, walk.pull_of_field(problem.root))
    for i in range(len(problem.ties)):
        walk.go_along(i)
    return walk


def off_deg(found, walk: Walk) -> np.ndarray:
    """(K + 1, J) degrees by which neighbours are turned against each other otherwise than in the fit."""
    out = []
    for tie in found.problem.ties:
        mine, fitted = (
            np.swapaxes(R[:, tie.parent], -1, -2) @ R[:, tie.child] for R in (walk.out, found.state.R)
        )
        cosine = (np.trace(np.swapaxes(mine, -1, -2) @ fitted, axis1=1, axis2=2) - 1) / 2
        out.append(np.degrees(np.arccos(np.clip(cosine, -1, 1))))
    return np.stack(out, -1)


def test_joints_bring_the_units_together_however_they_start(solved):
    walk = walked(solved[0], TURNED)
    assert off_deg(solved[0], walk).max() < 3.0
    for j, (p, c) in enumerate([(0, 1), (1, 2)]):  # not the neutral pose alone, which this motion is about
        wanted = walk.turned[:, p] * np.exp(1j * (TURNED[p] - TURNED[c]))
        assert np.abs(np.angle(walk.pull_of_joint(j, p, c) / wanted, deg=True)).max() < 3.0


def test_a_trusted_field_turns_all_of_them_to_north(solved):
    found = solved[1]
    assert found.trust.trusted.all()
    walk = walked(found, TURNED)
    np.testing.assert_allclose(walk.out, found.state.R, atol=np.sin(np.radians(3.0)))


def test_after_a_gap_a_heading_is_found_anew(solved):
    """The middle unit's samples are lost for half a second, and its heading is another afterwards."""
    found = solved[0]
    lost = np.zeros_like(found.problem.signals.lost)
    middle = len(lost) // 2
    lost[middle : middle + 8, 1] = True
    turned = np.tile(TURNED, (len(found.state.R), 1))
    turned[middle + 8 :, 1] += 1.0
    walk = walked(found, turned, lost)
    before, after = walk.parts(0, 1)
    assert (before ^ after).all() and before[0] and after[-1] and 0.4 < after.mean() < 0.6
    away = np.ones(len(turned), bool)
    away[middle : middle + 9] = False
    assert off_deg(found, walk)[away].max() < 5.0
    assert off_deg(found, walked(found, turned))[away].max() > 20.0  # taken for one heading all the way


def test_a_unit_that_nothing_pulls_stays_as_it_is(solved):
    walk = walked(solved[0], TURNED)
    before = walk.R[:, 2].copy()
    walk.turn(2, np.zeros(len(before), complex))
    np.testing.assert_array_equal(walk.out[:, 2], before)
    assert (walk.turned[:, 2] == 1).all()


def test_what_a_unit_feels_beside_the_next_one_tells_its_heading_however_it_started(solved):
    started, anew = walked(solved[0], (0.0, 0.0, 0.0)), walked(solved[0], TURNED)
    for i, (p, c) in enumerate([(0, 1), (1, 2)]):
        two = [walk.pull_of_forces(i) * walk.turned[:, p].conj() for walk in (started, anew)]
        by = np.exp(1j * (TURNED[p] - TURNED[c]))
        np.testing.assert_allclose(np.angle(two[1] / (two[0] * by)), 0.0, atol=1e-3)


# ---- what it is made of ----


@pytest.mark.parametrize("heading", [-3.0, -0.5, 0.0, 1.7, 3.1])
def test_relative_heading_is_found_in_closed_form(heading):
    rng = np.random.default_rng(0)
    child = rng.normal(size=(600, 3)) * [2, 1, 2] + [0, 9.81, 0]
    parent = (heading_matrix(heading) @ child.T).T + 0.3 * rng.normal(size=(600, 3))
    off = np.angle(relative_heading(parent, child, 0.4, 600) * np.exp(-1j * heading))
    # 0.3 m/s² of noise against 2 m/s² in 600 keyframes: 0.3°; every keyframe of a window has the same say
    np.testing.assert_allclose(off, 0.0, atol=np.radians(1))


def test_relative_heading_is_scipys_minimum_of_the_same_disagreement():
    rng = np.random.default_rng(1)
    child, parent = rng.normal(size=(2, 200, 3))
    parent = parent + (heading_matrix(0.8) @ child.T).T * 2
    sd = 100.0  # far above every disagreement: all count alike

    def cost(psi):
        return np.sum((parent - (heading_matrix(psi) @ child.T).T)[:, [0, 2]] ** 2)

    best = minimize_scalar(cost, (0.5, 1.1), tol=1e-10).x
    middle = relative_heading(parent, child, sd, 200)[100]
    assert np.angle(middle) == pytest.approx(best, abs=1e-3)


def test_relative_heading_sees_past_a_knock():
    rng = np.random.default_rng(2)
    child = rng.normal(size=(600, 3))
    parent = (heading_matrix(1.0) @ child.T).T
    parent[::15] = 20 * rng.normal(size=(40, 3))
    np.testing.assert_allclose(np.angle(relative_heading(parent, child, 0.4, 600)), 1.0, atol=np.radians(2))


def test_relative_heading_follows_a_slow_drift_and_weighs_what_it_saw():
    rng = np.random.default_rng(3)
    drift = np.linspace(0, 1.0, 2000)
    child = rng.normal(size=(2000, 3))
    parent = (heading_matrix(drift) @ child[..., None])[..., 0]
    pull = relative_heading(parent, child, 0.5, 200)
    np.testing.assert_allclose(np.angle(pull)[200:-200], drift[200:-200], atol=np.radians(4))
    quiet = relative_heading(0.01 * parent, 0.01 * child, 0.5, 200)
    assert np.abs(quiet).max() < 1e-3 * np.abs(pull).min()


@pytest.mark.parametrize("window", [1, 3, 7])
def test_uniform_sum_is_a_sliding_sum(window):
    values = np.random.default_rng(4).normal(size=(2, 30))
    series, reach = values[0] + 1j * values[1], window // 2
    inside = slice(reach, 30 - reach)
    np.testing.assert_allclose(
        uniform_sum(series, window)[inside], np.convolve(series, np.ones(window), "valid")
    )
    assert uniform_sum(series[:4], 1000).shape == (4,)
