"""Units whose stamps lie seconds apart are named before the fit, with by how much, and put back."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scripted_motion import PLACE, person, quiet, simulated, swung

import bodyfit
from bodyfit.calibration.clocks.far_offset import far_offset, felt_by
from bodyfit.calibration.clocks.pair_offset import PairClock
from bodyfit.calibration.clocks.seconds_apart import seconds_apart
from bodyfit.calibration.intake import Intake, examine
from bodyfit.recording.capture import Calibration, Capture
from bodyfit.recording.trials import Trial
from bodyfit.simulation.simulate import simulate


def late(capture: Capture, **seconds: float) -> Capture:
    """The capture with stamps of some units late; names without `_unit`."""
    units = dict(capture.units)
    for short, by in seconds.items():
        name = f"{short}_unit"
        units[name] = dataclasses.replace(units[name], time=units[name].time + by)
    return dataclasses.replace(capture, units=units)


def arm() -> Capture:
    """Four units on an arm that swings for 15 s without repeating itself."""
    return simulated("right_arm").capture


def told(intake: Intake, kind: str) -> dict[str, float]:
    """Unit -> number of the findings of a kind."""
    return {f.units[0]: float(f.value or 0.0) for f in intake.findings if f.kind == kind}


def felt(capture: Capture, short: str):
    return felt_by(capture.units[f"{short}_unit"])


@pytest.mark.parametrize("by", [0.5, -0.7, 3.0, -8.0])
@pytest.mark.parametrize("unit", ["r_upperarm", "r_hand"])
def test_a_unit_that_is_late_is_named_with_its_delay_and_put_back(unit, by):
    intake = examine(late(arm(), **{unit: by}))
    found = told(intake, "clock-offset")
    assert set(found) == {f"{unit}_unit"}
    assert found[f"{unit}_unit"] == pytest.approx(1e3 * by, abs=10)
    finding = next(f for f in intake.findings if f.kind == "clock-offset")
    assert finding.severity == "warning" and "±" in finding.what and finding.handled
    moved = intake.capture.units[f"{unit}_unit"].time - arm().units[f"{unit}_unit"].time
    others = intake.capture.units["r_forearm_unit"].time - arm().units["r_forearm_unit"].time
    assert np.abs(moved - others).max() < 0.01
    assert intake.clocks is not None
    u = intake.clocks.units.index(f"{unit}_unit")
    assert abs(intake.clocks.offset[u] - by) < 4 * intake.clocks.offset_sd[u]


def test_units_on_time_are_left_as_they_are():
    intake = examine(arm())
    assert not told(intake, "clock-offset") and not told(intake, "clock-adrift") and not intake.adrift
    assert all(np.array_equal(u.time, arm().units[n].time) for n, u in intake.capture.units.items())


def test_a_unit_whose_pauses_come_later_is_late():
    units = {}
    for name, unit in arm().units.items():
        kept = (unit.time % 5.0 > 0.3) & (unit.time % 5.0 < 4.7)
        values = {sensor: getattr(unit, sensor)[kept] for sensor in unit.sensors}
        units[name] = dataclasses.replace(unit, time=unit.time[kept], **values)
    found = told(examine(late(dataclasses.replace(arm(), units=units), r_hand=3.0)), "clock-offset")
    assert found["r_hand_unit"] == pytest.approx(3000, abs=20)


def test_the_clock_that_most_units_keep_is_right():
    found = told(examine(late(arm(), r_upperarm=4.0, r_forearm=4.0, r_hand=4.0)), "clock-offset")
    assert set(found) == {"thorax_unit"} and found["thorax_unit"] == pytest.approx(-4000, abs=10)


def test_of_two_clocks_kept_alike_the_one_of_the_still_pose_is_right_and_it_is_said():
    """Two units, one 4 s late: the declared pose lies where the forearm, which is on time, was held."""
    units = {}
    for name in ("r_forearm_unit", "r_hand_unit"):
        unit = arm().units[name]
        assert unit.gyroscope is not None and unit.accelerometer is not None
        before = np.arange(-3.0, 0.0, 0.02)
        held = np.zeros((len(before), 3))
        values = {
            "gyroscope": np.concatenate([held, unit.gyroscope]),
            "accelerometer": np.concatenate([held + unit.accelerometer[0], unit.accelerometer]),
        }
        time = np.concatenate([unit.time[0] + before, unit.time])
        units[name] = dataclasses.replace(unit, time=time, magnetometer=None, **values)
    pose = Calibration("still", -2.8, -0.2)
    two = dataclasses.replace(arm(), units=units, calibrations=(pose,))
    for one in ("r_hand", "r_forearm"):
        intake = examine(late(two, **{one: 4.0}))
        found = told(intake, "clock-offset")
        assert found[f"{one}_unit"] == pytest.approx(4000, abs=10), one
        assert "which is right is not known" in next(
            f.what for f in intake.findings if f.kind == "clock-offset"
        )


def test_where_the_motion_repeats_the_lags_are_told_and_nothing_is_moved():
    """A swing that repeats every 4 s: late by 1.5 s is late by 5.5 s, or early by 2.5 s, as well."""
    poses = swung(person("right_arm"), 16.0, period=4.0)
    repeating = simulate(poses, settings=quiet(), place=PLACE).capture
    intake = examine(late(repeating, r_hand=1.5))
    assert intake.adrift == {"r_hand_unit"} and "r_hand_unit" in intake.doubted
    finding = next(f for f in intake.findings if f.kind == "clock-adrift")
    assert finding.severity == "serious" and finding.value == pytest.approx(1.5, abs=0.05)
    assert "1.50 or -2.50 or 5.50" in finding.what
    fit = bodyfit.fit(late(repeating, r_hand=1.5), sensors={"accelerometer", "gyroscope"})
    spread = fit.joint_angle_sd
    assert spread is not None
    assert min(sd.min() for sd in spread["r_radiocarpal"].values()) >= np.pi / np.sqrt(3) - 1e-9
    assert not examine(repeating).adrift


def test_every_trial_has_its_own_delay():
    """The arm twice; in the second trial the hand is 3 s late: only there is it moved."""
    units = {}
    trials = (Trial("one", 0.0, 15.0), Trial("two", 20.0, 38.0))
    for name, unit in arm().units.items():
        start = trials[1].start - unit.time[0] + (3.0 if name == "r_hand_unit" else 0.0)
        both = {s: np.concatenate([getattr(unit, s)] * 2) for s in unit.sensors}
        time = np.concatenate([unit.time, unit.time + start])
        units[name] = dataclasses.replace(unit, time=time, **both)
    capture = dataclasses.replace(arm(), units=units, trials=trials, calibrations=())
    intake = examine(capture)
    finding = next(f for f in intake.findings if f.kind == "clock-offset")
    assert finding.units == ("r_hand_unit",) and finding.what.startswith("trial two: ")
    moved = capture.units["r_hand_unit"].time - intake.capture.units["r_hand_unit"].time
    first = capture.units["r_hand_unit"].time < 17
    assert np.abs(moved[first]).max() < 0.01 and np.abs(moved[~first] - 3.0).max() < 0.01


def test_pairs_that_agree_well_are_not_looked_at_again():
    """Only they are given; records of units that were never sampled would be refused."""
    pair = PairClock((0, 1), np.array([5.0]), np.array([0.01]), np.array([0.001]), share=0.1)
    unit = dataclasses.replace(arm().units["r_hand_unit"], gyroscope=None, accelerometer=None)
    found = seconds_apart([unit, unit], [pair])
    assert not found.late and not found.tied and not found.adrift


def test_rest_looks_like_nothing():
    """Of a unit that hardly moved no lag is told, though at rest it agrees with itself at every one."""
    unit = arm().units["r_hand_unit"]
    assert unit.accelerometer is not None and unit.gyroscope is not None
    rng = np.random.default_rng(0)
    still = dataclasses.replace(
        unit,
        accelerometer=np.array([0.0, arm().gravity, 0.0]) + 0.02 * rng.normal(size=unit.accelerometer.shape),
        gyroscope=0.002 * rng.normal(size=unit.gyroscope.shape),
        magnetometer=None,
    )
    found = far_offset(felt_by(still), felt_by(dataclasses.replace(still, time=still.time + 2.0)))
    assert not found.agree and found.lag is None and not found.others


def test_what_hardly_overlaps_tells_nothing():
    capture = arm().between(2.0, 4.5)
    found = far_offset(felt(capture, "r_forearm"), felt(capture, "r_hand"))
    assert not found.agree and found.lag is None and not found.others
