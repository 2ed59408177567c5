"""How units sit, from what is stated and from a pose that is held: a leg that stands still."""

# pyright: reportArgumentType=false

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scripted_motion import PERSON, person

import bodyfit
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.estimator.problem.build import problem_of
from bodyfit.estimator.updates.mounting import calibrated
from bodyfit.recording.capture import Calibration
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate
from bodyfit.weights import Weights

POSE = (Calibration("still", 1.0, 5.0, "neutral"),)
STATED = "r_calf"


@pytest.fixture(scope="module")
def standing():
    """Units turned anyhow on someone who stands in the neutral pose; and that of the calf stated."""
    model, time = person("right_leg"), np.arange(0.0, 6.0, 0.01)
    still = {name: Rotation.identity(len(time)) for name in model.segments}
    poses = PoseSequence(time, still, model, np.tile([0.0, 1.0, 0.0], (len(time), 1)))
    settings = SimulationSettings.perfect(mounting_spread=1.5)
    usual = bodyfit.read_model("right_leg")
    made = simulate(poses, None, settings, 0, model=usual, person=PERSON, calibrations=POSE)
    units = {
        name: unit if unit.segment == STATED else dataclasses.replace(unit, mounting=None)
        for name, unit in made.capture.units.items()
    }
    capture = dataclasses.replace(made.capture, units=units, model=model)
    true = {unit.segment: unit.mounting.as_matrix() for unit in made.units.values()}
    return capture, true


def found(capture, true, weights=None):
    """Problem, mountings found from true rotations, and how far each is from the truth, degrees."""
    problem = problem_of(capture, weights or Weights())
    segments = [str(capture.units[name].segment) for name in problem.signals.units]
    R = np.stack([true[name] for name in segments])
    mounting = calibrated(problem, np.tile(R, (len(problem.signals.key_time), 1, 1, 1)), None)
    off = Rotation.from_matrix(mounting.segment_from_unit @ np.swapaxes(R, -1, -2))
    return segments, mounting, np.degrees(off.as_rotvec())


def sd_deg(mounting):
    return np.degrees(np.sqrt(np.diagonal(mounting.covariance, axis1=1, axis2=2)))


def test_a_pose_shows_how_units_sit_and_a_stated_one_stays(standing):
    segments, mounting, off = found(*standing)
    assert np.abs(off).max() < 0.01
    for name, told in zip(segments, mounting.sources, strict=True):
        assert ("given" in told) == (name == STATED) and "still pose" in told


def test_each_is_as_sure_as_what_tells_it(standing):
    """Tilts: a pose is held to 3°, by feet to twice that; what is stated is good to 1.5°."""
    weights = Weights()
    segments, mounting, _ = found(*standing)
    tilt = dict(zip(segments, sd_deg(mounting)[:, 0], strict=True))
    held = np.degrees(weights.pose_tilt)
    np.testing.assert_allclose(tilt["r_thigh"], held, rtol=0.2)
    np.testing.assert_allclose(tilt["r_hindfoot"], weights.pose_loose * held, rtol=0.2)
    assert tilt[STATED] < np.degrees(weights.mounting)


def test_without_a_pose_one_is_assumed_and_counts_for_less(standing):
    capture, true = standing
    _, declared, _ = found(capture, true)
    segments, assumed, _ = found(dataclasses.replace(capture, calibrations=()), true)
    bare = [k for k, name in enumerate(segments) if name != STATED]
    assert (sd_deg(assumed)[bare, 0] > 1.5 * sd_deg(declared)[bare, 0]).all()
    assert all("assumed" in assumed.sources[k] and "assumed" not in declared.sources[k] for k in bare)


def test_a_segment_without_a_unit_is_its_own(standing):
    capture, true = standing
    units = {name: unit for name, unit in capture.units.items() if unit.segment != "r_hindfoot"}
    problem = problem_of(dataclasses.replace(capture, units=units), Weights())
    at = problem.signals.units.index("r_hindfoot")
    R = np.stack([true[capture.units[n].segment] if n in units else np.eye(3) for n in problem.signals.units])
    mounting = calibrated(problem, np.tile(R, (len(problem.signals.key_time), 1, 1, 1)), None)
    np.testing.assert_allclose(mounting.segment_from_unit[at], np.eye(3), atol=1e-6)
    assert mounting.sources[at] == "no unit" and sd_deg(mounting)[at].max() < 0.1
