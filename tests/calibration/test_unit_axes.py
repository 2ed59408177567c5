"""Sensor axes that don't belong together are named; those that do, or can't be told, are left alone."""
# pyright: reportOptionalOperand=false, reportOptionalSubscript=false, reportArgumentType=false
# pyright: reportCallIssue=false, reportOperatorIssue=false

from __future__ import annotations

import dataclasses
from pathlib import Path

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


# ---- where hardly anything turns: a quiet trunk, an arm that bows ----

BOWING = bodyfit.read_capture(Path(__file__).resolve().parents[2] / "demo_captures" / "cello_arm")


@pytest.mark.parametrize("name", ["02_03", "09_06"])
def test_a_pose_and_a_few_steps_of_running_raise_no_alarm(recordings, monkeypatch, name):
    """Of 48 axes some fit what little a short recording holds."""
    assert recordings
    monkeypatch.syspath_prepend(str(Path(__file__).resolve().parents[2] / "docs"))
    import few_units as few

    units = list(few.made(few.CASES["all"], name)[0].units.values())
    assert axes_findings(unit_axes(common_signals(units, units), G)) == ()


def slow_findings(sensors=frozenset({"accelerometer", "gyroscope", "magnetometer"}), **changed):
    """Findings about the bowing arm, a sensor of every unit seen through other axes."""
    units = []
    for unit in BOWING.units.values():
        other = {s: getattr(unit, s) @ Q for s, Q in changed.items()}
        gone = {s: None for s in unit.sensors - sensors}
        units.append(dataclasses.replace(unit, **other, **gone))
    return axes_findings(unit_axes(common_signals(units, units), G))


def test_slow_motion_in_order_raises_no_alarm():
    assert slow_findings() == ()
    assert slow_findings(frozenset({"accelerometer", "gyroscope"})) == ()


@pytest.mark.parametrize("sensor", ["accelerometer", "gyroscope"])
@pytest.mark.parametrize("which", [1, 6, 13, 23, 24, 31])  # rotations and left-handed ones
def test_slow_motion_tells_swaps_and_flips_and_whose_they_are(sensor, which):
    Q = AXES[which]
    if sensor == "accelerometer" and np.array_equal(Q, -np.eye(3)):
        pytest.skip("an accelerometer whose sign is turned throughout reads gravity downwards: nothing turns")
    found = slow_findings(**{sensor: Q})
    assert sorted(f.units[0] for f in found) == sorted(BOWING.units)
    assert all(f"{sensor} the columns" in f.advice for f in found)


def test_without_a_magnetometer_it_is_the_one_or_the_other():
    found = slow_findings(frozenset({"accelerometer", "gyroscope"}), accelerometer=np.diag([1.0, -1.0, 1.0]))
    assert len(found) == 4
    for finding in found:
        assert "it is the accelerometer or the gyroscope" in finding.what
        assert "or its accelerometer the columns [x, -y, z]" in finding.advice
