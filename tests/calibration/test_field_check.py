"""Magnetometers calibrated by motion, and what is said of a field before any fit."""
# pyright: reportArgumentType=false, reportCallIssue=false

import dataclasses

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.calibration.magnetic.field_check import check_field
from bodyfit.calibration.magnetic.hard_soft_iron import calibrate_magnetometer
from bodyfit.recording.capture import Capture, Place, Unit
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate
from tests.scripted_motion import PLACE, person, swung

STEP = 0.125
EARTH = np.array([0.44, -0.9, 0.0]) / np.hypot(0.44, 0.9)
HARD, SOFT = np.array([0.3, -0.2, 0.1]), np.array([[0.02, 0.01, 0.0], [0.01, -0.03, 0.02], [0.0, 0.02, 0.01]])


def turning(count=480, reach=3.0, seed=0):
    """Attitudes that wander by up to `reach` rad about each axis, and a spoilt magnetometer's readings."""
    rng = np.random.default_rng(seed)
    t = STEP * np.arange(count)[:, None]
    angles = reach * np.sin(2 * np.pi * t * rng.uniform(0.02, 0.1, 3) + rng.uniform(0, 6, 3))
    R = Rotation.from_euler("YXZ", angles).as_matrix()
    field = np.einsum("kji,j->ki", R, EARTH) + HARD
    readings = 50e-6 * np.linalg.solve(np.eye(3) + SOFT, field.T).T
    return R, readings + 0.3e-6 * rng.normal(size=readings.shape)


def test_hard_and_soft_iron_are_found_with_their_standard_deviations():
    R, readings = turning()
    found = calibrate_magnetometer(readings, R, STEP)
    assert found.applies and not found.why_not
    assert found.norm == pytest.approx(50e-6, rel=0.01)
    np.testing.assert_allclose(found.hard, HARD, atol=0.01)
    np.testing.assert_allclose(found.soft, SOFT, atol=0.01)
    assert np.all(np.abs(found.hard - HARD) < 3 * found.hard_sd)
    spread = np.std(np.linalg.norm(found.calibrated(readings), axis=1)) / found.norm
    assert spread < 0.01 < 0.1 < np.std(np.linalg.norm(readings, axis=1)) / found.norm


def test_a_drifting_heading_does_no_harm():
    R, readings = turning()
    drift = Rotation.from_euler("Y", np.radians(0.5) * STEP * np.arange(len(R))[:, None]).as_matrix()
    np.testing.assert_allclose(calibrate_magnetometer(readings, drift @ R, STEP).hard, HARD, atol=0.02)


def test_the_norm_may_be_given():
    R, readings = turning()
    clean = calibrate_magnetometer(readings, R, STEP).calibrated(readings, 1.0)
    assert np.median(np.linalg.norm(clean, axis=1)) == pytest.approx(1.0, abs=0.01)


def test_few_attitudes_apply_nothing_and_say_what_is_missing():
    R, readings = turning(reach=0.05)
    found = calibrate_magnetometer(readings, R, STEP)
    assert not found.applies and "hard iron is known to" in found.why_not


def test_a_clean_magnetometer_is_left_alone():
    R, _ = turning()
    rng = np.random.default_rng(1)
    readings = 50e-6 * np.einsum("kji,j->ki", R, EARTH) + 0.3e-6 * rng.normal(size=(len(R), 3))
    found = calibrate_magnetometer(readings, R, STEP)
    assert not found.applies and "no steadier" in found.why_not


def test_standard_deviations_of_hard_iron_are_honest():
    """Over 60 draws of motion: mean square of error / sd, 3 each; never above its 99.9 % chi-square bound."""
    z = []
    for seed in range(60):
        R, readings = turning(240, 1.0, seed)
        found = calibrate_magnetometer(readings, R, STEP)
        z += list((found.hard - HARD) / found.hard_sd)
    assert np.mean(np.square(z)) < 1.36  # chi-square of 180 degrees, 99.9 %: 244 / 180


@pytest.fixture(scope="module")
def capture() -> Capture:
    settings = SimulationSettings(magnetometer_bias_sd=15e-6, soft_tissue_deg_per_g=0.0)
    return simulate(swung(person("right_arm"), 40.0), None, settings, seed=2, place=PLACE).capture


def kinds(check):
    return {f.kind for f in check.findings}


def test_iron_on_a_unit_is_taken_off_and_said(capture):
    check = check_field(capture)
    applied = [n for n, one in check.calibrations.items() if one.applies]
    assert applied and "magnetometer-iron" in kinds(check)
    for name in applied:
        before, after = (c.units[name].magnetometer for c in (capture, check.capture))
        spread = [np.nanstd(np.linalg.norm(m, axis=1)) for m in (before, after)]
        assert spread[1] < 0.5 * spread[0]
    assert check.dip == pytest.approx(np.radians(64.0), abs=np.radians(3.0))
    assert "field-dip" not in kinds(check) and "field-date" in kinds(check)


def test_a_magnet_for_ten_seconds_is_marked_with_its_time():
    settings = SimulationSettings(soft_tissue_deg_per_g=0.0)
    capture = simulate(swung(person("right_arm"), 40.0), None, settings, seed=2, place=PLACE).capture
    name = next(iter(capture.units))
    unit = capture.units[name]
    at = (unit.time > 15.0) & (unit.time < 25.0)
    spoilt = np.where(at[:, None], unit.magnetometer + np.array([60e-6, 20e-6, 0.0]), unit.magnetometer)
    units = {**capture.units, name: dataclasses.replace(unit, magnetometer=spoilt)}
    check = check_field(dataclasses.replace(capture, units=units))
    start, end, why = max(check.untrusted[name], key=lambda s: s[1] - s[0])
    # where the field jumps its turn is seen a second before and after
    assert start == pytest.approx(15.0, abs=1.2) and end == pytest.approx(25.0, abs=1.2) and "norm" in why
    one = next(f for f in check.findings if f.kind == "field-untrusted" and f.units == (name,))
    assert one.start == start and one.end == end and one.value == pytest.approx(25.0, abs=5.0)


def test_a_place_where_the_field_dips_otherwise_is_named(capture):
    check = check_field(dataclasses.replace(capture, place=Place(0.0, 120.0)))
    assert {"field-dip", "field-norm"} <= kinds(check)


def test_arbitrary_readings_come_out_with_norm_one(capture):
    units = {
        n: dataclasses.replace(u, magnetometer=1e7 * u.magnetometer, magnetometer_is_arbitrary=True)
        for n, u in capture.units.items()
    }
    check = check_field(dataclasses.replace(capture, units=units))
    name = next(n for n, one in check.calibrations.items() if one.applies)
    magnetometer = check.capture.units[name].magnetometer
    assert magnetometer is not None
    assert np.nanmedian(np.linalg.norm(magnetometer, axis=1)) == pytest.approx(1.0, abs=0.02)


def test_units_without_magnetometer_are_left_as_they_are(capture):
    two = frozenset({"accelerometer", "gyroscope"})
    bare = dataclasses.replace(capture, units={n: u.only(two) for n, u in capture.units.items()})
    check = check_field(bare)
    assert check.capture is bare and not check.untrusted and isinstance(next(iter(bare.units.values())), Unit)
