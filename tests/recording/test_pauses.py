"""Pauses: shortened, and back."""

from __future__ import annotations

import numpy as np

from bodyfit.recording.capture import Unit
from bodyfit.recording.pauses import KEPT_S, pauses_of
from bodyfit.recording.resampling import common_signals


def unit(name: str, time: np.ndarray) -> Unit:
    values = np.tile([0.0, 9.81, 0.0], (len(time), 1))
    return Unit(name, name, time, values, 0 * values)


def test_times_go_to_the_short_line_and_back():
    time = np.r_[np.arange(0, 2, 0.01), np.arange(8.003, 10, 0.01), np.arange(30, 31, 0.01)]
    pauses = pauses_of([unit("a", time)])
    short = pauses.shortened(time)
    assert len(pauses.start) == 2
    assert KEPT_S <= np.diff(short).max() < KEPT_S + 0.011
    np.testing.assert_allclose(pauses.true(short), time, atol=1e-9)


def test_a_gap_of_one_unit_is_no_pause():
    time = np.arange(0, 10, 0.01)
    one = unit("a", time[(time < 3) | (time > 7)])
    assert not len(pauses_of([one, unit("b", time)]).start)


def test_a_pause_costs_hardly_any_keyframes_and_times_stay_true():
    time = np.r_[np.arange(0, 2, 0.01), np.arange(100, 102, 0.01)]
    signals = common_signals([unit("a", time)], [unit("a", time)])
    assert signals.intervals < 45
    seen = signals.time[signals.covered]
    assert np.abs(seen[-1] - 101.99) < 0.011 and np.diff(seen).max() > 97
    np.testing.assert_allclose(
        signals.in_intervals(signals.key_time), np.arange(signals.intervals + 1), atol=1e-6
    )
