"""Noise of simulated gyroscopes, read back as the standard for gyroscopes reads it.

IEEE Std 952-1997, annex C (the rules below were written down from memory):
- angle random walk N: Allan deviation N / sqrt(tau), read at tau = 1 s; N squared is the two-sided power
  density, so that N is the data sheet's one-sided density over sqrt(2);
- rate random walk K: Allan deviation K sqrt(tau / 3), read at tau = 3 s.
Allan deviations are those of AllanTools (Wallin, PyPI allantools 2024.6); power densities those of
scipy.signal.welch, which are one-sided.

Tolerances: an Allan variance from m clusters has about 3/4 m degrees of freedom (white noise); 4.5 standard
deviations of the resulting chi-square are allowed. The seeds are fixed.
"""

import math

import allantools
import numpy as np
import pytest
from scipy.signal import welch

from bodyfit.simulation.sensor_errors import drawn_error, white_sd

FS = 100.0
DENSITY = math.radians(0.007)  # rad/s/sqrt(Hz), a wearable-class data sheet
WALK = math.radians(0.02)  # rad/s/sqrt(s)


def allan_deviation(rate, fs, tau):
    """Allan deviation from means over neighbouring clusters of length tau."""
    size = round(tau * fs)
    means = rate[: len(rate) // size * size].reshape(-1, size, *rate.shape[1:]).mean(axis=1)
    return np.sqrt(0.5 * np.mean(np.diff(means, axis=0) ** 2)), means.size


def within(measured, expected, clusters):
    return measured / expected == pytest.approx(1, abs=4.5 * math.sqrt(0.5 / (0.75 * clusters)))


@pytest.mark.parametrize("tau", [0.05, 0.2, 1.0, 4.0])
def test_white_noise_reads_as_angle_random_walk(tau):
    error = drawn_error(np.random.default_rng(1), 400_000, 1 / FS, noise=white_sd(DENSITY, FS), bias_sd=0.0)
    deviation, clusters = allan_deviation(error.read(np.zeros((400_000, 3))), FS, tau)
    assert within(deviation, DENSITY / math.sqrt(2 * tau), clusters)


@pytest.mark.parametrize("tau", [3.0, 12.0])
def test_bias_walk_reads_as_rate_random_walk(tau):
    error = drawn_error(np.random.default_rng(2), 400_000, 1 / FS, noise=0.0, bias_sd=0.01, bias_walk=WALK)
    deviation, clusters = allan_deviation(error.read(np.zeros((400_000, 3))), FS, tau)
    assert within(deviation, WALK * math.sqrt(tau / 3), clusters)


def test_the_one_sided_density_is_that_of_the_data_sheet():
    """By Welch's spectrum, one-sided; 1560 segments, so that its mean is within 0.3 %."""
    error = drawn_error(np.random.default_rng(3), 400_000, 1 / FS, noise=white_sd(DENSITY, FS), bias_sd=0.0)
    _, power = welch(error.read(np.zeros((400_000, 3))), FS, nperseg=512, axis=0)
    assert math.sqrt(power[2:-2].mean()) == pytest.approx(DENSITY, rel=0.01)


def test_the_random_walk_is_that_of_allantools():
    error = drawn_error(np.random.default_rng(4), 100_000, 1 / FS, noise=white_sd(DENSITY, FS), bias_sd=0.0)
    rate = error.read(np.zeros((100_000, 3)))[:, 0]
    _, deviation, _, _ = allantools.oadev(rate, rate=FS, data_type="freq", taus=[0.1])
    assert deviation[0] == pytest.approx(DENSITY / math.sqrt(2 * 0.1), rel=0.03)
