"""Broken sensors are named and left out before the fit; sound ones raise no alarm."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

import bodyfit
from bodyfit.calibration.intake import examine
from bodyfit.calibration.sensors.soundness import sound
from bodyfit.errors import CannotReconstructError

DEMOS = Path(__file__).resolve().parents[2] / "demo_captures"
REAL = ("chain", "pendulum", "knee", "robot", "single")


@pytest.fixture(scope="module")
def cello():
    return bodyfit.read_capture(DEMOS / "cello_arm")


def changed(capture, name="forearm", **fields):
    unit = dataclasses.replace(capture.units[name], **fields)
    return dataclasses.replace(capture, units={**capture.units, name: unit})


def told(capture, kind, unit="forearm"):
    """The capture as left, after its one finding was checked and seen in what a fit starts from."""
    left, (finding,) = sound(capture)
    assert finding.kind == kind and unit in finding.units and finding.severity == "serious"
    assert finding.handled and finding.source and finding.threshold is not None
    assert kind in {f.kind for f in examine(capture).findings}
    return left


@pytest.mark.parametrize("name", ["cello_arm", "parcel_lift", "steel_stairs"])
def test_demos_raise_no_alarm(name):
    capture = bodyfit.read_capture(DEMOS / name)
    left, findings = sound(capture)
    assert left is capture and findings == ()


def test_recordings_raise_no_alarm(recordings):
    for folder in sorted(recordings.iterdir()):
        if (folder / "setup.toml").is_file() and folder.name.startswith(REAL):
            assert sound(bodyfit.read_capture(folder))[1] == (), folder.name


def test_one_table_read_twice(cello):
    hand = cello.units["hand"]
    copied = changed(
        cello,
        **{key: getattr(hand, key) for key in ("time", "accelerometer", "gyroscope", "magnetometer")},
    )
    assert set(told(copied, "same-signal").units) == {"breastbone", "upper_arm"}


@pytest.mark.parametrize("factor", [10.0, 1 / 9.80665])
def test_gravity_of_another_size(cello, factor):
    acc = cello.units["forearm"].accelerometer * factor
    assert told(changed(cello, accelerometer=acc), "gravity-not-read").units["forearm"].accelerometer is None


def test_a_huge_constant_is_not_gravity(cello):
    acc = np.full_like(cello.units["forearm"].accelerometer, 1e6)
    left, findings = sound(changed(cello, accelerometer=acc))
    assert "gravity-not-read" in {f.kind for f in findings} and left.units["forearm"].accelerometer is None


@pytest.mark.parametrize("factor", [9.80665, 1 / 9.80665])
def test_a_unit_that_changes_halfway(cello, factor):
    unit = cello.units["forearm"]
    times = np.where(unit.time > 30.0, factor, 1.0)[:, None]
    left = told(changed(cello, accelerometer=unit.accelerometer * times), "units-change")
    gone = np.isnan(left.units["forearm"].accelerometer).all(1)
    assert gone[unit.time > 32.0].all() and not gone[unit.time < 28.0].any()


@pytest.mark.parametrize("sensor", ["accelerometer", "gyroscope"])
@pytest.mark.parametrize("since", [0.0, 40.0])
def test_a_stuck_sensor(cello, sensor, since):
    unit = cello.units["forearm"]
    values, late = getattr(unit, sensor).copy(), unit.time >= since
    values[late] = values[late][0]
    left = getattr(told(changed(cello, **{sensor: values}), "sensor-stuck").units["forearm"], sensor)
    if since:
        np.testing.assert_array_equal(np.isnan(left).all(1), late)
    else:
        assert left is None


def test_a_dead_gyroscope_is_said_to_read_zero(cello):
    dead = changed(cello, gyroscope=np.zeros_like(cello.units["forearm"].gyroscope))
    told(dead, "sensor-stuck")
    assert "reads zero" in sound(dead)[1][0].what


def test_samples_held_by_the_whole_device_are_no_stuck_sensor(cello):
    unit, held = cello.units["forearm"], {}
    for sensor in ("accelerometer", "gyroscope"):
        held[sensor] = getattr(unit, sensor).copy()
        held[sensor][1000:1400] = held[sensor][1000]
    assert sound(changed(cello, **held))[1] == ()


def test_a_place_far_off_the_segment(cello):
    left = told(changed(cello, position=np.array([100.0, 2.0, 3.0])), "place-outside")
    assert left.units["forearm"].position is None


def test_nothing_left_is_refused(cello):
    hand = cello.units["hand"].only(frozenset({"accelerometer"}))
    capture = dataclasses.replace(cello, units={"hand": hand})
    assert hand.accelerometer is not None and sound(capture)[1] == ()
    with pytest.raises(CannotReconstructError, match="no unit has a sensor"):
        sound(changed(capture, "hand", accelerometer=10 * hand.accelerometer))


@pytest.mark.parametrize("sensor", ["accelerometer", "gyroscope"])
def test_a_sensor_frozen_on_a_quiet_segment_is_stuck(cello, sensor):
    """The breastbone hardly moves: that the other sensor's noise goes on is what tells."""
    values = getattr(cello.units["breastbone"], sensor).copy()
    values[2000:] = values[2000]
    _, findings = sound(dataclasses.replace(cello, units={
        **cello.units, "breastbone": dataclasses.replace(cello.units["breastbone"], **{sensor: values})
    }))  # fmt: skip
    assert [(f.kind, f.units) for f in findings] == [("sensor-stuck", ("breastbone",))]
