"""Where a fitted body goes: on simulated stairs by its feet, else by the foot that stands."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

import bodyfit
from bodyfit.recording.capture import Calibration
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

sys.path.append(str(Path(__file__).parents[2] / "demo_captures"))
CLIMB = 30.0  # s of the first lap: up seven risers and on to the landing


@pytest.fixture(scope="module")
def made():
    from make_demo_captures import steel_stairs

    poses = steel_stairs(np.random.default_rng(5)).between(0.0, CLIMB)
    still = (Calibration("still", 0.5, 3.5, "neutral"),)
    return simulate(poses, None, SimulationSettings(), 5, model=poses.model, calibrations=still)


def height_error(fit, truth):
    true = np.interp(fit.time, truth.time, truth.root_position[:, 1])
    off = fit.poses.root_position[:, 1] - true
    return off - off[0]


def test_stairs_are_as_high_as_they_are(made):
    fit = bodyfit.fit(made.capture, sensors={"accelerometer", "gyroscope"})
    climbed = np.ptp(made.truth.root_position[:, 1])
    assert climbed > 1.0
    assert np.sqrt(np.mean(height_error(fit, made.truth) ** 2)) < 0.08
    told = fit.summary.root_path
    assert fit.summary.root_position == "followed from the paths of both feet"
    assert 0.01 < told.height_sd_m[-1] < 0.2 and told.time_s[-1] > CLIMB - 2


def test_a_foot_on_the_upper_step_stands_while_the_lower_one_still_does(made):
    """Standing was once taken for being lowest: each foot then struck as the other one left, 0.37 s late."""
    from make_demo_captures import Walker, climb_and_return

    walker = Walker(0.085, 4.6)
    climb_and_return(walker)
    lands = [s.land for s in walker.steps if s.to.floor > 0.3 and s.land < 17]
    found = bodyfit.strides(bodyfit.fit(made.capture.between(0, 18), sensors={"accelerometer", "gyroscope"}))
    strikes = np.array([event.time for event in found.events if event.event == "heel_strike"])
    assert len(lands) > 7
    assert max(np.abs(strikes - land).min() for land in lands) < 0.12


def test_without_units_on_feet_the_standing_foot_is_followed(made):
    bare = made.capture.without("l_hindfoot_unit", "r_hindfoot_unit")
    fit = bodyfit.fit(bare.between(0, 12), sensors={"accelerometer", "gyroscope"})
    assert fit.summary.root_position == "followed from the standing foot"
    assert fit.summary.root_path is None
