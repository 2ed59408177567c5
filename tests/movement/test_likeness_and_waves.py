"""How alike repetitions are, and waves of a signal, against what follows by hand."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.movement.activities.unit.waves import autocorrelation, highest_peak, windows
from bodyfit.movement.repetitions.choice import Match
from bodyfit.movement.repetitions.likeness import HALF, WIDTH, odds, probabilities, standing_out


def test_odds_are_even_at_half_and_fall_by_e_a_width():
    np.testing.assert_allclose(odds(np.array([HALF, HALF + WIDTH, HALF - WIDTH])), [1, np.exp(-1), np.e])


def match(first: int, last: int, score: float, movement: int = 0) -> Match:
    return Match(first, last, score, movement, 0, 0.0)


def test_a_match_competes_with_nothing_and_with_every_other_movement_that_overlaps():
    own = match(0, 100, HALF)
    assert probabilities([own], [own])[0] == pytest.approx(1 / 2)
    beside = match(10, 95, HALF, movement=1)
    worse = match(12, 98, HALF + WIDTH, movement=1)
    assert probabilities([own], [own, beside, worse])[0] == pytest.approx(1 / 3), (
        "the best of each movement counts"
    )
    later = match(90, 200, HALF, movement=1)
    assert probabilities([own], [own, later])[0] == pytest.approx(1 / 2), "an overlap of a tenth is none"


def test_what_lies_far_from_the_others_stands_out():
    """Modified z-score (Iglewicz & Hoaglin 1993, from memory): 0.6745 (x − median) / MAD over 3.5."""
    values = np.array([1.0, 1.1, 0.9, 1.2, 0.8, 1.0, 1.0, 2.0])
    mad = np.median(np.abs(values - np.median(values)))
    expected = 0.6745 * np.abs(values - np.median(values)) / mad > 3.5
    np.testing.assert_array_equal(standing_out(values, "duration"), expected)
    assert expected.sum() == 1


def test_very_even_sets_and_small_ones_call_nothing_odd():
    assert not standing_out(np.r_[np.ones(8), 1.1], "amplitude").any(), "the least spread is 0.05"
    assert not standing_out(np.array([1.0, 1.0, 1.0, 9.0]), "duration").any()


def test_only_larger_distances_stand_out():
    values = np.r_[np.full(8, 0.5), 0.1]
    assert not standing_out(values, "distance").any() and standing_out(values, "duration").any()


# --- waves ---


def test_windows_repeat_the_ends_where_there_is_no_signal():
    got = windows(np.arange(6.0), np.array([0, 3, 5]), 2)
    np.testing.assert_array_equal(got, [[0, 0, 0, 1], [1, 2, 3, 4], [3, 4, 5, 5]])


def test_the_autocorrelation_is_the_sum_over_lags():
    """Σ x_i x_{i+k} / (n − k) over Σ x_i² / n, by numpy's correlate."""
    x = np.random.default_rng(1).normal(size=(1, 50))
    centred = x[0] - x[0].mean()
    full = np.correlate(centred, centred, "full")[49:] / np.arange(50, 0, -1) * 50
    np.testing.assert_allclose(autocorrelation(x)[0], full / full[0], atol=1e-12)


def test_the_highest_peak_is_the_period_of_a_sine():
    pieces = np.sin(2 * np.pi * np.arange(200) / 25)[None]
    height, lag = highest_peak(autocorrelation(pieces), 10, 40)
    assert lag[0] == 25 and height[0] == pytest.approx(1, abs=0.03)


def test_without_a_peak_the_height_says_so():
    falling = np.linspace(1, 0, 100)[None]
    assert highest_peak(falling, 10, 40)[0][0] == -0.2
