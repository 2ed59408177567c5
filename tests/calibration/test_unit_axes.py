"""Sensor axes that don't belong together are named; those that do, or can't be told, are left alone."""
# pyright: reportOptionalOperand=false, reportOptionalSubscript=false, reportArgumentType=false
# pyright: reportCallIssue=false, reportOperatorIssue=false

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scripted_motion import person, quiet, swung

import bodyfit
from bodyfit.calibration.sensors.sensor_axes import AXES, axes_findings, columns_said, unit_axes
from bodyfit.core.rotations import apply
from bodyfit.recording.resampling import common_signals
from bodyfit.simulation.simulate import simulate

G = 9.80665


@pytest.fixture(scope="module")
def units():
    sim = simulate(swung(person("right_arm"), 40.0, rate=50.0, swing_deg=60.0), settings=quiet())
    return list(sim.capture.units.values())


def judged(unit):
    return {one.sensor: one for one in unit_axes(common_signals([unit], [unit]), G)}


def test_there_are_48_axes_half_of_them_left_handed():
    assert len({Q.tobytes() for Q in AXES + 0.0}) == 48
    np.testing.assert_allclose(np.linalg.det(AXES), np.repeat([1.0, -1.0], 24))
    np.testing.assert_array_equal(AXES[0], np.eye(3))


def test_axes_in_order_raise_no_alarm(units):
    for unit in units:
        for one in judged(unit).values():
            assert not one.wrong
        assert axes_findings(list(judged(unit).values())) == ()


def test_every_swap_and_flip_is_found_and_undone(units):
    unit = max(units, key=lambda u: np.abs(u.gyroscope).mean())
    assert judged(unit)["accelerometer"].decidable
    for Q in AXES[1:]:
        one = judged(dataclasses.replace(unit, gyroscope=unit.gyroscope @ Q))["accelerometer"]
        assert one.wrong and any(np.array_equal(near, Q) for near in one.axes), columns_said(Q)
        if len(one.axes) == 1:
            mended = one.factor * apply(one.axes[0], unit.gyroscope @ Q)
            np.testing.assert_allclose(mended, unit.gyroscope)


def test_left_handed_axes_are_recognised(units):
    unit = max(units, key=lambda u: np.abs(u.gyroscope).mean())
    flip = np.array([1.0, -1.0, 1.0])
    left = {s: getattr(unit, s) * flip for s in ("gyroscope", "accelerometer", "magnetometer")}
    both = judged(dataclasses.replace(unit, **left))
    np.testing.assert_array_equal(both["accelerometer"].axes[0], -np.eye(3))
    np.testing.assert_array_equal(both["magnetometer"].axes[0], -np.eye(3))
    (finding,) = axes_findings(list(both.values()))
    assert (
        finding.severity == "serious" and "left-handed" in finding.what and "[-x, -y, -z]" in finding.advice
    )


def test_the_sensor_that_two_others_outvote_is_blamed(units):
    unit = max(units, key=lambda u: np.abs(u.gyroscope).mean())
    swapped = dataclasses.replace(unit, accelerometer=unit.accelerometer[:, [1, 0, 2]])
    (finding,) = axes_findings(list(judged(swapped).values()))
    assert "accelerometer the columns [y, x, z]" in finding.advice


@pytest.mark.parametrize(("factor", "unit_name"), [(180 / np.pi, "rad/s"), (np.pi / 180, "deg/s")])
def test_rates_in_another_unit_are_recognised(units, factor, unit_name):
    unit = max(units, key=lambda u: np.abs(u.gyroscope).mean())
    one = judged(dataclasses.replace(unit, gyroscope=unit.gyroscope * factor))["accelerometer"]
    assert one.factor == pytest.approx(1 / factor)
    (finding,) = axes_findings([one])
    # read as too large: the file holds deg/s where rad/s is declared
    assert f'unit = "{"deg/s" if factor > 1 else "rad/s"}"' in finding.advice.replace("the unit", "unit =")


def test_still_units_are_not_decidable():
    rng = np.random.default_rng(0)
    time = np.arange(0, 30, 0.01)
    for bias in (0.0, 0.03):
        rate = 0.001 * rng.standard_normal((len(time), 3)) + [0.0, bias, 0.0]
        force = 0.02 * rng.standard_normal((len(time), 3)) + [0.0, G, 0.0]
        one = judged(bodyfit.Unit("a", None, time, force, rate))["accelerometer"]
        assert not one.decidable and not one.wrong and axes_findings([one]) == ()


def test_recordings_raise_no_alarm(recordings):
    for folder in sorted(recordings.iterdir()):
        if not (folder / "setup.toml").is_file() or folder.name.startswith("pendulum"):
            continue
        units = list(bodyfit.read_capture(folder).units.values())
        assert axes_findings(unit_axes(common_signals(units, units), G)) == ()
