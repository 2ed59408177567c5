"""Readings that no body makes: gravity missing, one table read twice, a sensor that repeats itself."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from bodyfit.calibration.sensors.gravity_level import gravity_level, gravity_level_findings, with_gravity
from bodyfit.calibration.sensors.same_signal import same_signal_findings, same_signals
from bodyfit.calibration.sensors.stuck import stuck, stuck_findings, without_stuck
from bodyfit.recording.capture import Unit

G, RATE = 9.80665, 50.0  # m/s², CGPM 1901; Hz
TIME = np.arange(0, 20, 1 / RATE)


def unit(name: str = "u", seed: int = 0) -> Unit:
    """A unit that swings, with noise."""
    rng = np.random.default_rng(seed)
    swing = np.sin(2 * np.pi * 0.7 * TIME)[:, None]
    force = [0.0, G, 0.0] + 2.0 * swing * [1, 0, 0.5] + 0.02 * rng.normal(size=(len(TIME), 3))
    rate = swing * [0, 0, 2.0] + 0.002 * rng.normal(size=(len(TIME), 3))
    return Unit(name, "hand", TIME, force, rate)


def scaled(factor: float, start: float = -1.0, end: float = 99.0) -> Unit:
    """The unit with its accelerometer's readings multiplied from start to end."""
    there = ((start <= TIME) & (end > TIME))[:, None]
    return dataclasses.replace(unit(), accelerometer=np.where(there, factor, 1.0) * unit().accelerometer)


# --- gravity ---


def test_a_unit_that_reads_gravity_is_left_alone():
    assert gravity_level(unit(), G) is None
    assert gravity_level(dataclasses.replace(unit(), accelerometer=None), G) is None


@pytest.mark.parametrize("factor", [1 / G, 1000.0], ids=["in g", "in mm/s²"])
def test_another_unit_throughout_is_told_and_the_accelerometer_left_out(factor):
    level = gravity_level(scaled(factor), G)
    assert level is not None and level.throughout
    assert level.ratio == pytest.approx(factor, rel=0.05)
    (told,) = gravity_level_findings([level])
    assert (told.kind, told.severity, told.units, told.start) == ("gravity-not-read", "serious", ("u",), None)
    assert told.threshold == (0.5 if factor < 1 else 6.0)  # it swings, so only the wider limit counts
    assert with_gravity(scaled(factor), [level]).accelerometer is None


def test_a_unit_that_changes_on_the_way_loses_only_those_samples():
    changed = scaled(1 / G, 8.0)
    level = gravity_level(changed, G)
    assert level is not None and not level.throughout and (level.start, level.end) == (8.0, TIME[-1])
    (told,) = gravity_level_findings([level])
    assert (told.kind, told.start, told.end) == ("units-change", 8.0, TIME[-1])
    left = with_gravity(changed, [level]).accelerometer
    assert left is not None
    np.testing.assert_array_equal(np.isnan(left).all(1), TIME >= 8.0)


def test_twice_gravity_is_no_motion_where_the_unit_hardly_turns():
    calm = dataclasses.replace(scaled(2.5), gyroscope=0.1 * unit().gyroscope)
    level = gravity_level(calm, G)
    assert level is not None and level.limit == 2.0
    assert gravity_level(dataclasses.replace(calm, gyroscope=None), G) is None


@pytest.mark.parametrize("seconds", [1.2, 20.0])
def test_a_foot_that_runs_all_along_reads_gravity(seconds):
    # 3.6 g in the median and 6 rad/s: the hardest of the feet in eight recorded runs, data/motions_isb, 09
    hard = dataclasses.replace(scaled(3.6), gyroscope=unit().gyroscope + np.array([0, 6.0, 0]))
    short = {name: getattr(hard, name)[seconds > TIME] for name in ("time", "accelerometer", "gyroscope")}
    assert gravity_level(dataclasses.replace(hard, **short), G) is None


def test_a_jump_is_no_change_of_units():
    assert gravity_level(scaled(0.05, 8.0, 12.0), G) is None  # weightless for four seconds: two blocks


def test_what_was_found_of_another_unit_changes_nothing():
    level = gravity_level(scaled(1 / G), G)
    assert level is not None
    assert with_gravity(unit("v"), [level]).accelerometer is not None


# --- one table read twice ---


def test_two_units_with_the_same_samples_are_named():
    (pair,) = same_signals([unit("a"), unit("b"), unit("c", seed=1)])
    assert pair == ("a", "b", 1.0)
    (told,) = same_signal_findings([pair])
    assert (told.severity, told.units, told.value, told.threshold) == ("serious", ("a", "b"), 100.0, 50.0)


def test_devices_that_move_alike_are_not_the_same():
    assert same_signals([unit("a"), unit("b", seed=1)]) == ()


def test_units_at_rest_that_read_few_digits_are_not_the_same():
    rest = np.tile([0.0, 9.81, 0.0], (len(TIME), 1))
    still = [Unit(name, "hand", TIME, rest, np.zeros_like(rest)) for name in "ab"]
    assert same_signals(still) == ()


# --- a sensor that repeats itself ---


def repeating(sensor: str, start: float, end: float, value: float | None = None) -> Unit:
    values = getattr(unit(), sensor).copy()
    there = (start <= TIME) & (end > TIME)
    values[there] = values[np.argmax(there)] if value is None else value
    return dataclasses.replace(unit(), **{sensor: values})


@pytest.mark.parametrize("sensor", ["accelerometer", "gyroscope"])
def test_a_repeated_reading_is_seen_by_the_other_sensor(sensor):
    stopped = repeating(sensor, 5.0, 8.0)
    (one,) = stuck(stopped)
    assert (one.sensor, one.start, one.dead, one.mostly) == (sensor, 5.0, False, False)
    assert one.longest == pytest.approx(3.0, abs=0.05) and one.end == pytest.approx(8.0, abs=0.05)
    (told,) = stuck_findings([one])
    assert told.severity == "serious" and "repeats one reading" in told.what and told.threshold == 1.0
    left = getattr(without_stuck(stopped, [one]), sensor)
    np.testing.assert_array_equal(np.isnan(left).all(1), one.rows)


def test_a_dead_sensor_is_left_out():
    stopped = repeating("gyroscope", -1.0, 99.0, 0.0)
    (one,) = stuck(stopped)
    assert one.dead and one.mostly and "reads zero" in stuck_findings([one])[0].what
    assert without_stuck(stopped, [one]).gyroscope is None


def test_a_short_pause_of_readings_and_a_device_that_held_all_samples_are_no_fault():
    assert stuck(repeating("accelerometer", 5.0, 5.5)) == ()
    held = repeating("gyroscope", 5.0, 8.0)
    both = dataclasses.replace(held, accelerometer=repeating("accelerometer", 5.0, 8.0).accelerometer)
    assert stuck(both) == ()
    assert stuck(unit()) == ()
