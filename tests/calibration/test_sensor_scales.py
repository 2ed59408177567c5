"""Scales of accelerometer and gyroscope: found within their standard deviations, left alone when unsure."""
# pyright: reportOptionalOperand=false, reportOptionalSubscript=false, reportArgumentType=false
# pyright: reportCallIssue=false, reportOperatorIssue=false

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scripted_motion import person, swung

import bodyfit
from bodyfit.calibration.sensors.accelerometer_scale import (
    AccelerometerScale,
    accelerometer_findings,
    accelerometer_scales,
    reading_gravity,
)
from bodyfit.calibration.sensors.gravity_missed import gravity_missed
from bodyfit.calibration.sensors.gravity_windows import GravityWindows, gravity_windows
from bodyfit.calibration.sensors.gyroscope_scale import gyroscope_findings, gyroscope_scales, turning_true
from bodyfit.recording.single_units import unaided
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

G = 9.80665


@pytest.fixture(scope="module")
def spoiled():
    """A slow, wide motion; scales known, 3 % off."""
    settings = SimulationSettings(
        sampling_frequency=50.0, soft_tissue_deg_per_g=0.0, soft_tissue_mm_per_g=0.0
    )
    out = []
    for seed in range(3):
        motion = swung(person("right_arm"), 120.0, rate=50.0, speed=0.15, swing_deg=60.0)
        sim, rng = simulate(motion, settings=settings, seed=seed), np.random.default_rng(seed)
        units, true = [], {}
        for name, unit in sim.capture.units.items():
            force, rate = 1 + 0.03 * rng.standard_normal(), 1 + 0.03 * rng.standard_normal(3)
            units.append(
                dataclasses.replace(
                    unit, accelerometer=unit.accelerometer * force, gyroscope=unit.gyroscope * rate
                )
            )
            errors = sim.units[name].errors
            true[name] = (
                force * np.diag(errors["accelerometer"].matrix),
                rate * np.diag(errors["gyroscope"].matrix),
            )
        alone = unaided(units)
        out.append((units, true, alone, gravity_windows(alone, sim.gravity), sim.gravity))
    return out


def test_accelerometer_scales_are_within_their_standard_deviations(spoiled):
    off = []
    for _, true, _, windows, g in spoiled:
        for scale in accelerometer_scales(windows, g):
            error = np.mean(1 / scale.factor) - np.mean(true[scale.unit][0])
            assert abs(error) < 0.01
            off.append(error / scale.factor_sd.mean())
    assert 0.3 < np.sqrt(np.mean(np.square(off))) < 1.6


def test_gyroscope_scales_are_within_their_standard_deviations(spoiled):
    off, known = [], 0
    for _, true, alone, windows, g in spoiled:
        for scale in gyroscope_scales(alone, windows, g):
            off.append((1 / scale.factor - true[scale.unit][1]) / scale.sd)
            known += int(np.sum(scale.sd < 0.005))
            assert np.abs(1 / scale.factor - true[scale.unit][1])[scale.sd < 0.005].max(initial=0) < 0.01
    assert known > 18 and 0.5 < np.sqrt(np.mean(np.square(off))) < 1.4


def test_repairs_take_the_scale_off_where_it_is_sure(spoiled):
    units, true, alone, windows, g = spoiled[0]
    forces, rates = accelerometer_scales(windows, g), gyroscope_scales(alone, windows, g)
    for unit, force, rate in zip(units, forces, rates, strict=True):
        better = turning_true(reading_gravity(unit, forces), rates)
        ratio = better.gyroscope[5] / unit.gyroscope[5]
        np.testing.assert_allclose(ratio, np.where(rate.sure, rate.factor, 1.0))
        left = np.abs(true[unit.name][1] * ratio - 1)
        assert (left[rate.sure] < 0.01).all()
        if not force.sure:
            assert better.accelerometer is unit.accelerometer
    kinds = {f.kind for f in (*accelerometer_findings(forces), *gyroscope_findings(rates))}
    assert kinds == {"accelerometer-scale", "gyroscope-scale"}


def test_axes_and_offsets_are_told_apart_by_many_attitudes():
    """Held still in 18 attitudes in turn: |f| = g is then an ellipsoid, of which six parameters are free."""
    from scipy.spatial.transform import Rotation

    rng, count = np.random.default_rng(2), 800
    attitudes = Rotation.random(18, rng=rng).as_rotvec()
    time = 0.01 * np.arange(18 * count)
    path = bodyfit_path(attitudes, count)
    up = path.inv().apply([0.0, G, 0.0])
    factor, offset = np.array([1.02, 0.97, 1.01]), np.array([0.2, -0.3, 0.1])
    rate = np.concatenate([(path[:-1].inv() * path[1:]).as_rotvec() / 0.01, np.zeros((1, 3))])
    unit = bodyfit.Unit("a", None, time, (up - offset) / factor, rate)
    windows = gravity_windows(unaided([unit]), G)
    (scale,) = accelerometer_scales(windows, G)
    assert scale.by_axis and scale.sure
    np.testing.assert_allclose(scale.factor, factor, atol=0.005)
    np.testing.assert_allclose(scale.offset, offset, atol=0.05)


def bodyfit_path(vectors: np.ndarray, count: int):
    """Each attitude held for three quarters of `count` samples, then turned to the next."""
    from scipy.spatial.transform import Rotation, Slerp

    n = len(vectors)
    keys = np.repeat(np.arange(n) * count, 2) + np.tile([0, int(0.75 * count)], n)
    keys[-1] = n * count
    return Slerp(keys, Rotation.from_rotvec(np.repeat(vectors, 2, 0)))(np.arange(n * count))


def test_short_or_still_captures_say_nothing_of_gyroscopes():
    time = np.arange(0, 30, 0.01)
    still = bodyfit.Unit(
        "a", None, time, np.tile([0.0, G, 0.0], (len(time), 1)), np.zeros((len(time), 3)) + 1e-3
    )
    for unit in (still, still.between(0.0, 6.0)):
        alone = unaided([unit])
        (scale,) = gyroscope_scales(alone, gravity_windows(alone, G), G)
        assert not scale.sure.any() and scale.sd.min() > 0.03
        assert gyroscope_findings([scale]) == ()


@pytest.mark.parametrize("name", ["circle_100", "circle_150", "triangle_150", "triangle_200"])
def test_robot_arm_accelerometers_read_low_as_the_encoders_say(recordings, name):
    """Against what the mean force along the encoders' up is, as a share of gravity: within 1 %."""
    capture = bodyfit.read_capture(recordings / f"robot_arm_{name}")
    units = list(capture.units.values())
    windows = gravity_windows(unaided(units), G)
    for unit, scale in zip(units, accelerometer_scales(windows, G), strict=True):
        assert scale.read == pytest.approx(read_by_encoders(recordings / f"robot_arm_{name}", unit), abs=0.01)
        assert scale.sure and scale.read < 0.985


def read_by_encoders(folder, unit) -> float:
    """Least-squares scale of the specific force, averaged over a second, against the encoders' up."""
    import pandas as pd
    from scipy.ndimage import uniform_filter1d
    from scipy.spatial.transform import Rotation, Slerp

    table = pd.read_csv(folder / "reference.csv")
    q = table[[f"{unit.segment}_q{axis}" for axis in "xyzw"]].to_numpy(float)
    at = table.time_s.to_numpy(float)
    ok = np.isfinite(q).all(1) & (np.diff(at, prepend=-np.inf) > 0)
    inside = (unit.time >= at[ok][0]) & (unit.time <= at[ok][-1])
    R = Slerp(at[ok], Rotation.from_quat(q[ok]))(unit.time[inside])
    best = []
    for up in np.vstack([np.eye(3), -np.eye(3)]):
        seen = uniform_filter1d(R.inv().apply(up), 125, axis=0)
        force = uniform_filter1d(unit.accelerometer[inside], 125, axis=0)
        turn = Rotation.align_vectors(force, seen)[0]
        along = turn.apply(seen)
        left = force - G * along
        best.append((np.mean(left**2), np.sum(force * along) / np.sum(along**2) / G))
    return min(best)[1]


def test_what_accelerometers_miss_gravity_by_is_seen_and_none_in_sound_ones():
    """|f| − g of windows whose error and spread by motion are known; the maths by 4000 of them."""
    rng, count = np.random.default_rng(5), 4000
    for true, sd in ((0.0, 0.1), (0.5, 0.1), (0.3, 0.3)):
        force = G + rng.normal(0, np.hypot(true, sd), count)
        by_axis = np.zeros((count, 1, 3, 3))
        by_axis[:, 0, 1, 1] = force
        ones = np.ones((count, 1))
        windows = GravityWindows(
            ("a",), np.arange(count) * 2.0, by_axis, np.tile(np.eye(3), (count, 1, 1, 1)), sd * ones, ones > 0
        )
        scale = AccelerometerScale("a", np.ones(3), np.zeros(3), np.ones(3), np.ones(3), False, False, count)
        assert gravity_missed(windows, [scale], G)["a"] == pytest.approx(true, abs=0.04)


def test_bands_know_of_biases_that_gravity_shows():
    """Biases of 50 mg on every unit: the errors were 1.16 of the stated deviations, sound units' 0.3."""
    settings = SimulationSettings(sampling_frequency=50.0, accelerometer_bias_sd=0.05 * G)
    sim = simulate(swung(person("right_arm"), 25.0, rate=50.0, speed=0.5), settings=settings, seed=2)
    result, squares = bodyfit.fit(sim.capture), []
    for joint, angles in (result.joint_angle_sd or {}).items():
        for angle, spread in angles.items():
            true = np.unwrap(sim.truth.joint_angles[joint][angle])
            off = result.joint_angles[joint][angle] - np.interp(result.time, sim.truth.time, true)
            squares.append(np.mean(((off + np.pi) % (2 * np.pi) - np.pi) ** 2 / spread**2))
    assert len(squares) == 9 and np.sqrt(np.mean(squares)) < 0.9
