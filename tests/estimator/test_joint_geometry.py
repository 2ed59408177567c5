"""What stays the same in a capture, found from the true rotations of a chain: lever arms, axis, softness."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from estimated import estimated
from hinged_chain import AXIS, chain, swinging

from bodyfit.alignment.mounting import Mounting
from bodyfit.estimator.problem.schedule import SCHEDULE
from bodyfit.estimator.updates.joint_geometry import declared_axis, prior_of_levers, refine
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate


@pytest.fixture(scope="module")
def solved():
    """A chain of perfect units that sit anyhow, whose model knows no lengths, after a fit."""
    settings = SimulationSettings.perfect(mounting_spread=1.0)
    made = simulate(swinging(12.0), None, settings, model=chain(known=False))
    _, found = estimated(made.capture)
    return made, found


def true_levers(made) -> np.ndarray:
    """(J, 2, 3) m, from each unit to the joint's centre, unit frame, by what the simulation knows."""
    by_segment = {unit.segment: unit for unit in made.units.values()}
    out = []
    for joint in chain(known=True).joints.values():
        ends = ((joint.parent, joint.centre_in_parent), (joint.child, joint.centre_in_child))
        out.append([(of := by_segment[s]).mounting.inv().apply(centre - of.position) for s, centre in ends])
    return np.array(out)


def refined(found, iteration: int, **changes):
    body = dataclasses.replace(found.body, **changes)
    return refine(found.problem, found.state, body, found.average, iteration)


def test_lever_arms_are_the_true_ones_wherever_they_start(solved):
    made, found = solved
    again = refined(found, 0, levers=np.zeros_like(found.body.levers))
    np.testing.assert_allclose(again.levers, true_levers(made), atol=0.01)


def test_axes_and_softness_wait_until_rotations_are_about_right(solved):
    _, found = solved
    early = refined(found, SCHEDULE.hinges_from - 1, axes={}, hinge_sd={})
    assert early.axes == {}
    late = refined(found, SCHEDULE.hinges_from, axes={}, hinge_sd={})
    assert list(late.axes) == [1], "the second joint is the hinge"


def test_the_axis_of_a_hinge_is_that_about_which_it_turns(solved):
    """Seen in the world from both sides, it is the one direction that both units keep."""
    _, found = solved
    axis = refined(found, SCHEDULE.hinges_from).axes[1]
    tie = found.problem.ties[1]
    seen = [
        np.einsum("kij,j->ki", found.state.R[:, u], d)
        for u, d in zip((tie.parent, tie.child), axis.directions, strict=True)
    ]
    off = np.degrees(np.arccos(np.clip(np.sum(seen[0] * seen[1], -1), -1, 1)))
    assert np.median(off) < 0.5
    assert axis.sd < np.radians(2.0)


def test_units_that_are_screwed_on_do_not_rock(solved):
    _, found = solved
    assert np.abs(refined(found, SCHEDULE.hinges_from).elastic).max() < np.radians(0.2)  # rad per m/s²


def test_without_joints_only_the_mounting_is_found(solved):
    _, found = solved
    alone = dataclasses.replace(found.problem, ties=[], movements=[])
    after = refine(alone, found.state, found.body, found.average, SCHEDULE.hinges_from)
    assert after.levers is found.body.levers and after.axes is found.body.axes
    assert after.mounting is not found.body.mounting


def test_an_axis_is_declared_only_where_model_and_mountings_are_known(solved):
    _, found = solved
    tie, mounting = found.problem.ties[1], found.body.mounting
    assert declared_axis(tie, mounting) is None, "this model knows no axis"
    known = dataclasses.replace(tie, joint=chain(known=True).joints["bc"])
    sure = dataclasses.replace(mounting, covariance=np.tile(1e-6 * np.eye(3), (3, 1, 1)))
    declared = declared_axis(known, sure)
    assert declared is not None
    back = [sure.segment_from_unit[u] @ d for u, d in zip((tie.parent, tie.child), declared, strict=True)]
    np.testing.assert_allclose(back, [AXIS, AXIS], atol=1e-12)
    unsure = dataclasses.replace(mounting, covariance=np.tile(np.eye(3), (3, 1, 1)))
    assert declared_axis(known, unsure) is None


def test_the_prior_of_lever_arms_is_wide_where_nothing_is_known(solved):
    _, found = solved
    mounting: Mounting = found.body.mounting
    prior = prior_of_levers(found.problem, found.body.ends, found.body.joints, mounting)
    np.testing.assert_allclose(prior.mean, 0, atol=1e-12)
    lever = found.problem.weights.lever
    np.testing.assert_allclose(np.diag(prior.precision), lever**-2.0, rtol=1e-6)
