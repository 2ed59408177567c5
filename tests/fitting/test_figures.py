"""Figures of a fit: arrays as plain numbers, and what a fit of simulated units tells against their truth."""

from __future__ import annotations

import numpy as np
import pytest
from estimated import estimated
from hinged_chain import AXIS, chain, swinging

import bodyfit
from bodyfit.fitting.figures.plain import exact, figure, rounded, spans
from bodyfit.fitting.stretches import stretches_of
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate


@pytest.fixture(scope="module")
def fitted():
    """A chain of usual units, turned anyhow, without soft tissue; its fit, and the estimate in it."""
    settings = SimulationSettings(
        sampling_frequency=50.0, soft_tissue_deg_per_g=0.0, soft_tissue_mm_per_g=0.0, mounting_spread=1.0
    )
    made = simulate(swinging(20.0), None, settings, 3, model=chain(known=False), title="three bars")
    return made, *estimated(made.capture)


# --- arrays as numbers ---


def test_arrays_become_tuples_of_their_shape_rounded_to_a_millionth():
    assert rounded(np.array([[1.23456789, 2.0], [3.0, -0.5]])) == ((1.234568, 2.0), (3.0, -0.5))
    assert rounded(np.float64(1e-7)) == 0.0
    assert exact(np.array([1.23456789])) == (1.23456789,)
    assert all(type(value) is float for value in rounded(np.arange(3)))


def test_what_is_not_finite_is_none():
    assert exact(np.array([np.nan, 1.0, np.inf])) == (None, 1.0, None)
    assert figure(np.nan) is None and figure(-np.inf) is None and figure(np.float32(2.0)) == 2.0


def test_stretches_become_pairs():
    assert spans(np.array([[0.12345, 1.0], [2.0, 3.98765]]), 3) == ((0.123, 1.0), (2.0, 3.988))
    assert spans([(0.12345, 1)]) == ((0.12345, 1.0),)


def test_frames_are_parted_where_a_long_gap_lies():
    time = np.r_[np.arange(0, 1, 0.01), np.arange(3, 4, 0.01)]
    assert stretches_of(time, 0.01) == ((0.0, 0.99), (3.0, pytest.approx(3.99)))
    assert stretches_of(time[:100], 0.01) == ((0.0, 0.99),)


# --- figures of units, joints and the whole fit ---


def test_biases_are_those_of_the_estimate_in_degrees_and_near_those_put_in(fitted):
    made, fit, found = fitted
    for u, (name, unit) in enumerate(made.units.items()):
        told = fit.summary.units[name].gyroscope_bias_deg_per_s
        np.testing.assert_allclose(told, np.degrees(found.state.bias[:, u].mean(0)), atol=1e-6)
        np.testing.assert_allclose(told, np.degrees(unit.errors["gyroscope"].bias.mean(0)), atol=0.2)


def test_heading_drift_is_the_bias_about_the_vertical_integrated(fitted):
    """Σ (up · b) Δt, over the estimate and over the true motion."""
    made, fit, found = fitted
    step = 20.0 / (len(found.state.R) - 1)
    for u, (name, unit) in enumerate(made.units.items()):
        told = fit.summary.units[name].heading_drift_removed_deg
        estimate = np.sum(found.state.R[:-1, u, 1] * found.state.bias[:-1, u])
        assert told == pytest.approx(np.degrees(step * estimate), rel=0.02, abs=0.02)
        up = unit.rotation.inv().apply([0.0, 1.0, 0.0])
        rate = np.sum(up * unit.errors["gyroscope"].bias, 1)
        assert told == pytest.approx(np.degrees(np.trapezoid(rate, made.truth.time)), abs=4.0)


def test_a_unit_tells_its_segment_sensors_and_gaps(fitted):
    _, fit, _ = fitted
    units = fit.summary.units
    assert [unit.segment for unit in units.values()] == ["a", "b", "c"]
    assert all({"accelerometer", "gyroscope"} <= set(unit.sensors) for unit in units.values())
    assert all(
        unit.gaps == () and unit.accelerometer_scale == pytest.approx(1, abs=0.01) for unit in units.values()
    )
    assert fit.summary.clocks == {}


def test_arms_of_a_joint_are_the_true_ones_within_their_standard_deviations(fitted):
    """The centre of a hinge may lie anywhere along its axis, and is told to be as unsure."""
    made, fit, _ = fitted
    by_segment = {unit.segment: unit for unit in made.units.values()}
    for name, joint in chain(known=True).joints.items():
        centre = fit.summary.joints[name].centre
        assert centre is not None and centre.lever_arm_source == "motion"
        ends = ((joint.parent, joint.centre_in_parent), (joint.child, joint.centre_in_child))
        true = [(of := by_segment[s]).mounting.inv().apply(place - of.position) for s, place in ends]
        off = np.abs(np.ravel([centre.lever_arm_parent_m, centre.lever_arm_child_m]) - np.ravel(true))
        assert (off < 4 * np.array(centre.lever_arm_sd_m)).all()
        if joint.type == "ball":
            assert off.max() < 0.03


def test_the_axis_of_the_hinge_is_told_and_the_ball_has_none(fitted):
    made, fit, _ = fitted
    assert fit.summary.joints["ab"].hinge is None
    hinge = fit.summary.joints["bc"].hinge
    assert hinge is not None
    by_segment = {unit.segment: unit for unit in made.units.values()}
    for segment, axis in (("b", hinge.hinge_axis_parent), ("c", hinge.hinge_axis_child)):
        cosine = by_segment[segment].mounting.inv().apply(AXIS) @ axis
        assert np.degrees(np.arccos(min(1.0, abs(cosine)))) < 2.0


def test_the_whole_fit_tells_its_frames_body_and_solver(fitted):
    _, fit, _ = fitted
    told = fit.summary
    assert told.capture == "three bars" and (told.model.segments, told.model.joints) == (3, 2)
    assert told.model.segments_without_unit == ()
    assert told.sampling.frames == len(fit.time) and told.sampling.stretches_s == (
        (fit.time[0], fit.time[-1]),
    )
    assert told.sampling.frequency_hz == pytest.approx(50.0, rel=1e-6)
    assert told.solver.converged and told.solver.iterations > 1
    assert told.slips == () and not told.root_followed


def test_a_segment_without_a_unit_is_told_as_such(fitted):
    made, _, _ = fitted
    worn = [name for name, unit in made.units.items() if unit.segment != "c"]
    told = bodyfit.fit(made.capture, leave_out=sorted(set(made.units) - set(worn))).summary
    assert told.model.segments_without_unit == ("c",) and list(told.units) == worn
    heading = told.joints["bc"].heading
    assert heading is None or not heading.determined
