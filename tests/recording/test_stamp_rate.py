"""The rate of a unit from its stamps, whatever they are rounded to and however many samples are missing."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.recording.capture import Unit
from bodyfit.recording.sampling import sampling_of
from bodyfit.recording.stamp_rate import usual_step


@pytest.mark.parametrize("rate", [60.0, 80.0, 100.0, 128.0, 148.148, 1000 / 7.5])
def test_stamps_in_whole_milliseconds(rate: float) -> None:
    time = np.round(np.arange(3000) / rate, 3)
    assert 1 / usual_step(time) == pytest.approx(rate, rel=1e-5)


def test_the_median_of_the_steps_is_not_the_rate() -> None:
    """What 80 and 60 Hz were told as: the fault that this module mends."""
    for rate in (80.0, 60.0):
        time = np.round(np.arange(3000) / rate, 3)
        assert abs(1 / np.median(np.diff(time)) / rate - 1) > 0.015


def test_lost_samples_gaps_and_jitter() -> None:
    rng = np.random.default_rng(0)
    time = np.arange(6000) / 80.0
    time = time[rng.random(6000) > 0.2]
    time[2000:] += 13.3719
    time = np.round(time + rng.normal(scale=0.0008, size=len(time)), 3)
    assert 1 / usual_step(np.unique(time)) == pytest.approx(80.0, rel=2e-4)  # 8e-5 was found


def test_stray_stamps_do_not_pull() -> None:
    time = np.arange(2000) / 60.0
    time[::97] += 0.006
    assert 1 / usual_step(time) == pytest.approx(60.0, rel=1e-5)


def test_least_squares_is_numpys_where_nothing_strays() -> None:
    """Against numpy.polyfit, on one run without lost samples."""
    time = np.round(np.arange(500) / 128.0, 4)
    slope = np.polyfit(np.arange(500), time, 1)[0]
    assert usual_step(time) == pytest.approx(slope, rel=1e-8)


def test_two_samples() -> None:
    assert usual_step(np.array([1.0, 1.25])) == 0.25


def test_sampling_tells_it() -> None:
    time = np.round(np.arange(2000) / 80.0, 3)
    wave = np.sin(time[:, None] + np.arange(3))
    found = sampling_of(Unit("a", "s", time, wave + np.array([0, 9.81, 0]), wave))
    assert found.frequency == pytest.approx(80.0, rel=1e-5) and found.dropped == 0
