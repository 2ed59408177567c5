"""What of stretches and captures lies within trials."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from bodyfit.files.plain.records import as_plain
from bodyfit.recording.trials import PAUSE_S, Trial, between, start_after, within
from bodyfit.results.summary import TrialFigures

TWO = (Trial("a", 0.0, 10.0), Trial("b", 15.0, 30.0, datetime(2026, 3, 1, tzinfo=UTC)))


def test_stretches_are_cut_to_trials() -> None:
    cut, of = within(np.array([[2.0, 3.0], [9.5, 16.0], [11.0, 14.0]]), TWO)
    np.testing.assert_array_equal(cut, [[2, 3], [9.5, 10], [15, 16]])
    np.testing.assert_array_equal(of, [0, 1, 1])
    every, of = within(np.array([[11.0, 14.0]]), ())
    np.testing.assert_array_equal(every, [[11, 14]])
    np.testing.assert_array_equal(of, [0])


def test_trials_are_cut_with_their_capture() -> None:
    assert between(TWO, 5.0, 12.0) == (Trial("a", 5.0, 10.0),)


def test_the_next_one_begins_at_a_whole_second() -> None:
    assert start_after(10.0) == 10.0 + PAUSE_S
    assert start_after(10.001) == 11.0 + PAUSE_S
    assert start_after(start_after(10.001) - PAUSE_S) == start_after(10.001)


def test_plain_data_comes_back() -> None:
    for trial in TWO:
        assert TrialFigures.of(trial).trial == trial and as_plain(TrialFigures.of(trial)) == trial.as_data()
    with pytest.raises(ValueError, match="Invalid isoformat"):
        TrialFigures("a", 0.0, 1.0, "yesterday")
