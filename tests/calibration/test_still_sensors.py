"""Noise, bias and drift at rest; the Allan deviation against AllanTools and against closed forms.

Closed forms: IEEE Std 952-1997, annex C (from memory): white noise σ = N / √τ, random walk σ = K √(τ / 3).
AllanTools: Wallin's library of frequency statistics, an implementation of its own (PyPI allantools 2024.6).
"""
# pyright: reportOptionalOperand=false, reportOptionalSubscript=false, reportArgumentType=false
# pyright: reportCallIssue=false, reportOperatorIssue=false

from __future__ import annotations

import dataclasses

import allantools
import numpy as np
import pytest

from bodyfit.calibration.sensors.allan_deviation import allan_curve
from bodyfit.calibration.sensors.static_noise import at_rest, rest_findings
from bodyfit.recording.capture import Unit

STEP = 0.01
DENSITY = np.radians([0.005, 0.007, 0.01])  # rad/s/√Hz, one-sided as in data sheets
N = DENSITY / np.sqrt(2)  # rad/s/√Hz, random walk: its square is the two-sided density
K = np.radians([0.002, 0.003, 0.004])  # rad/s/√s


def white(seconds: float, seed: int = 0) -> np.ndarray:
    count = int(seconds / STEP)
    return N / np.sqrt(STEP) * np.random.default_rng(seed).standard_normal((count, 3))


def still_unit(seconds: float, rate: np.ndarray) -> Unit:
    force = 0.0016 / np.sqrt(2 * STEP) * np.random.default_rng(5).standard_normal(rate.shape) + [
        0.0,
        9.81,
        0.0,
    ]
    return Unit("a", None, STEP * np.arange(len(rate)), force, rate)


def test_allan_deviation_is_that_of_allantools():
    samples = white(60.0)
    curve = allan_curve([samples], STEP)
    assert curve is not None
    for axis in range(3):
        _, theirs, _, _ = allantools.oadev(samples[:, axis], rate=1 / STEP, data_type="freq", taus=curve.tau)
        np.testing.assert_allclose(curve.deviation[:, axis], theirs, rtol=1e-6)


def test_white_noise_is_read_at_one_second():
    """IEEE Std 952-1997 (from memory): σ(1 s) = N; so many clusters leave some 4 %."""
    curve = allan_curve([white(300.0), white(200.0, seed=1)], STEP)
    assert curve is not None and curve.noise is not None
    np.testing.assert_allclose(curve.noise, DENSITY, rtol=0.12)
    np.testing.assert_allclose(
        curve.deviation[:4] * np.sqrt(curve.tau[:4, None]), np.tile(N, (4, 1)), rtol=0.05
    )


def test_rest_is_found_between_movements_and_its_bias_read():
    rate = white(60.0) + np.radians([0.3, -0.8, 0.1])
    time = STEP * np.arange(len(rate))
    moving = (time > 20) & (time < 35)
    rate[moving] += np.sin(2 * np.pi * time[moving])[:, None]
    force, gyroscope = at_rest(still_unit(60.0, rate))
    (first, second) = gyroscope.stretches
    assert first[1] == pytest.approx(20.0, abs=0.6) and second[0] == pytest.approx(35.0, abs=0.6)
    np.testing.assert_allclose(np.degrees(gyroscope.bias), [0.3, -0.8, 0.1], atol=0.01)
    np.testing.assert_allclose(gyroscope.noise, DENSITY, rtol=0.25)
    np.testing.assert_allclose(force.noise, 0.0016, rtol=0.25)
    assert {f.kind for f in rest_findings([force, gyroscope])} == {"bias-high"}


def test_noise_and_drift_are_told_with_their_limits():
    rate = 10 * white(60.0) + np.radians(0.5) * np.linspace(-0.5, 0.5, 6000)[:, None]
    time = STEP * np.arange(len(rate))
    rate[(time > 20) & (time < 40)] += 1.0 * np.sin(time[(time > 20) & (time < 40)] * 6)[:, None]
    found = {f.kind: f for f in rest_findings(at_rest(still_unit(60.0, rate)))}
    assert set(found) == {"noise-high", "bias-drift"}
    assert found["noise-high"].value == pytest.approx(0.1, rel=0.3)
    assert found["bias-drift"].value == pytest.approx(0.5 * 40 / 60 * np.sqrt(3), rel=0.3)


def test_what_never_lies_still_or_lacks_a_sensor_says_nothing():
    unit = still_unit(10.0, white(10.0) + np.sin(0.05 * np.arange(1000))[:, None])
    assert at_rest(unit) == ()
    assert at_rest(dataclasses.replace(unit, gyroscope=None)) == ()
