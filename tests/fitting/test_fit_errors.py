"""What `fit` refuses, in words that say where, what was found, what was expected, and what to do."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scripted_motion import simulated, with_units
from told import warned

import bodyfit
from bodyfit.errors import BodyfitError, CannotReconstructError, InputError
from bodyfit.recording.capture import Capture

UNITS = ("thorax_unit", "r_upperarm_unit", "r_forearm_unit", "r_hand_unit")


def capture() -> Capture:
    """Four units on an arm, 50 Hz, from 0.02 to 14.96 s."""
    return simulated("right_arm").capture


def changed(name: str = "r_hand_unit", **changes) -> Capture:
    units = dict(capture().units)
    units[name] = dataclasses.replace(units[name], **changes)
    return with_units(capture(), units)


def with_nan(sensor: str, first: int, count: int, name: str = "r_hand_unit") -> Capture:
    values = getattr(capture().units[name], sensor).copy()
    values[first : first + count] = np.nan
    return changed(name, **{sensor: values})


def refused(error: type[BodyfitError], given: Capture, **options) -> str:
    with pytest.raises(error) as caught:
        bodyfit.fit(given, **options)
    assert caught.value.exit_code == (1 if error is CannotReconstructError else 2)
    return str(caught.value)


# ---- names ----


def test_unknown_sensor_lists_the_sensors_and_suggests_the_nearest():
    message = refused(InputError, capture(), sensors={"gyroscop"})
    assert "sensors: found 'gyroscop'" in message
    assert "accelerometer, gyroscope, magnetometer, orientation" in message
    assert "did you mean 'gyroscope'?" in message


def test_unknown_unit_lists_the_units_and_suggests_the_nearest():
    message = refused(InputError, capture(), leave_out=["r_hand"])
    assert "no unit 'r_hand' in the capture" in message
    assert ", ".join(UNITS) in message and "did you mean 'r_hand_unit'?" in message


def test_unit_without_a_segment_names_the_segments():
    message = refused(CannotReconstructError, changed(segment=None))
    assert "units.r_hand_unit: it has no segment" in message and "most probably r_hand" in message
    assert "setup.toml" in message and "--assign auto" in message


@pytest.mark.parametrize("alone", [False, True])
def test_segment_that_the_model_does_not_have_is_refused(alone):
    message = refused(InputError, changed(segment="r_hnd"), alone=alone)
    assert "units.r_hand_unit" in message and "'r_hnd'" in message
    assert "did you mean 'r_hand'?" in message


def test_two_units_on_one_segment_are_refused():
    message = refused(InputError, changed(segment="r_forearm"))
    assert "r_forearm_unit" in message and "r_hand_unit" in message and "r_forearm" in message


# ---- nothing to fit ----


def test_a_sensor_that_no_unit_carries():
    message = refused(CannotReconstructError, capture(), sensors={"orientation"})
    assert "no unit carries orientation" in message
    assert "the capture has accelerometer, gyroscope, magnetometer" in message
    assert "Choose other sensors" in message


def test_every_unit_left_out():
    message = refused(CannotReconstructError, capture(), leave_out=UNITS)
    assert "leave out fewer units" in message


def test_no_units_at_all():
    assert "no unit" in refused(CannotReconstructError, with_units(capture(), {}))


def test_units_that_do_not_overlap():
    late = capture().units["r_hand_unit"]
    message = refused(CannotReconstructError, changed(time=late.time + 100))
    assert "the units share 0.00 s" in message and "expected at least 0.5 s" in message
    assert "r_hand_unit 100.02 to 114.96 s" in message and "thorax_unit 0.02 to 14.96 s" in message
    assert "leave out the unit that does not overlap" in message


def test_units_that_overlap_too_little():
    late = capture().units["r_hand_unit"]
    message = refused(CannotReconstructError, changed(time=late.time + 14.6))
    assert "the units share 0.34 s" in message


def test_a_unit_of_three_samples():
    short = {
        s: getattr(capture().units["r_hand_unit"], s)[:3] for s in capture().units["r_hand_unit"].sensors
    }
    message = refused(InputError, changed(time=capture().units["r_hand_unit"].time[:3], **short))
    assert "units.r_hand_unit" in message and "3 usable samples, expected at least 4" in message


def test_a_stretch_outside_the_recording():
    """`capture.between` leaves units without a row."""
    with pytest.raises(BodyfitError) as caught:
        bodyfit.fit(capture().between(100.0, 200.0))
    assert "unit" in str(caught.value)


def test_half_a_second_is_enough():
    assert len(bodyfit.fit(capture().between(3.0, 3.6)).time) == 31


# ---- samples ----


@pytest.mark.parametrize(("first", "count"), [(200, 40), (0, 40), (700, 48)], ids=["amid", "start", "end"])
def test_a_long_run_of_nan_is_left_open_and_told(first, count):
    """It used to be refused; now the segment is held by its neighbours there, and the summary says so."""
    found = bodyfit.fit(with_nan("gyroscope", first, count))
    ((start, end),) = found.summary.sampling.inferred_s["r_hand"]
    time = capture().units["r_hand_unit"].time
    assert start == pytest.approx(time[first], abs=0.13)
    assert end == pytest.approx(time[min(first + count, len(time) - 1)], abs=0.13)
    assert any("r_hand: its unit was not measured at" in w for w in warned(found))


def test_rows_that_are_missing_are_a_gap_like_any_other():
    u = capture().units["r_hand_unit"]
    keep = np.r_[0:200, 240 : len(u.time)]
    found = bodyfit.fit(changed(time=u.time[keep], **{s: getattr(u, s)[keep] for s in u.sensors}))
    assert list(found.summary.sampling.inferred_s) == ["r_hand"]
    assert found.summary.units["r_hand_unit"].gaps == ((4.0, 4.82),)


def test_a_short_run_of_nan_is_bridged():
    assert bodyfit.fit(with_nan("gyroscope", 200, 10)).time[-1] == capture().units["r_hand_unit"].time[-1]


def test_a_long_run_of_nan_in_the_magnetometer_is_left_out_of_account():
    found = bodyfit.fit(with_nan("magnetometer", 200, 300))
    assert all(np.isfinite(R.as_quat()).all() for R in found.rotations.values())


@pytest.mark.parametrize("sensor", ["accelerometer", "gyroscope", "magnetometer"])
def test_a_sensor_that_never_read(sensor):
    message = refused(InputError, with_nan(sensor, 0, 10_000))
    assert message.startswith(f"units.r_hand_unit {sensor}: 0 usable samples, expected at least 4")
    assert "leave the sensor out" in message


def test_an_orientation_that_never_was():
    quat = np.full((len(capture().units["r_hand_unit"].time), 4), np.nan)
    message = refused(InputError, changed(orientation=quat))
    assert message.startswith("units.r_hand_unit orientation: 0 usable samples")


def test_an_orientation_with_a_long_gap_is_inferred_there():
    quat = simulated("right_arm").units["r_hand_unit"].rotation.as_quat()
    quat[100:150] = np.nan
    found = bodyfit.fit(changed(orientation=quat, gyroscope=None))
    assert list(found.summary.sampling.inferred_s) == ["r_hand"]
    assert all(np.isfinite(R.as_quat()).all() for R in found.rotations.values())


def test_time_that_does_not_increase():
    time = capture().units["r_hand_unit"].time.copy()
    time[100] = time[99]
    message = refused(InputError, changed(time=time))
    assert "r_hand_unit" in message and "100" in message and "increas" in message


# ---- what is no error ----


@pytest.mark.parametrize(
    "sensors", [["gyroscope", "accelerometer"], ("accelerometer",), frozenset({"gyroscope"})]
)
def test_sensors_may_come_in_any_collection(sensors):
    found = bodyfit.fit(capture().between(2.0, 4.0), sensors=sensors)
    assert found.summary.options.sensors == tuple(sorted(sensors))


def test_progress_is_told_from_start_to_end():
    calls = []
    bodyfit.fit(
        capture().between(2.0, 4.0), progress=lambda done, total, what: calls.append((done, total, what))
    )
    assert calls[0][0] == 0 and all(0 <= done <= total and what for done, total, what in calls)
    assert [c[0] for c in calls if c[2] == calls[-1][2]] == sorted(
        c[0] for c in calls if c[2] == calls[-1][2]
    )
