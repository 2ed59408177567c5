"""Where a fitted body goes: on simulated stairs by its feet, else by the foot that stands."""

from __future__ import annotations

import dataclasses
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


@pytest.fixture(scope="module")
def level(made):
    """Ten steps on level ground; and the same, said to be on a treadmill, which no unit can tell from it."""
    cut = made.capture.between(0, 10.2)
    belt = dataclasses.replace(cut, ground="treadmill")
    return [bodyfit.fit(one, sensors={"accelerometer", "gyroscope"}) for one in (cut, belt)]


def test_on_a_declared_treadmill_the_path_stays_and_the_belt_is_told(level):
    ground, belt = level
    assert ground.summary.root_path.belt_speed_m_s is None
    way = np.ptp(ground.poses.root_position[:, 0])
    place = belt.poses.root_position[:, [0, 2]]
    assert way > 4 and np.ptp(place, axis=0).max() < 0.2 * way  # started at once, as no belt does
    assert np.ptp(place[belt.time > 7], axis=0).max() < 0.25
    assert belt.summary.root_path.belt_speed_m_s == pytest.approx(1.02, abs=0.07)  # 1.2 m in 1.175 s
    np.testing.assert_allclose(belt.poses.root_position[:, 1], ground.poses.root_position[:, 1])


def test_strides_on_a_treadmill_are_those_over_ground(level):
    over, on = (bodyfit.strides(fit).strides for fit in level)
    assert len(over) == len(on) > 5
    np.testing.assert_allclose([s.length for s in on], [s.length for s in over], atol=0.08)
    assert not [f for f in bodyfit.review(level[1]) if f.kind == "foot-sliding"]


def test_lengths_of_a_body_s_strides_have_deviations(level):
    """Strides of 1.2 m by the script of the demo, all but the first and last."""
    strides = bodyfit.strides(level[0]).strides
    sd = strides[0].length_sd
    assert 0.005 < sd < 0.06 and all(stride.length_sd == sd for stride in strides)
    off = np.array([stride.length - 1.2 for stride in strides[1:-2]])
    assert np.all(np.abs(off) < 3 * sd)


def test_without_units_on_feet_the_standing_foot_is_followed(made):
    bare = made.capture.without("l_hindfoot_unit", "r_hindfoot_unit")
    fit = bodyfit.fit(bare.between(0, 12), sensors={"accelerometer", "gyroscope"})
    assert fit.summary.root_position == "followed from the standing foot"
    assert fit.summary.root_path is None
