"""An angle over time without jumps of a turn."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bodyfit.core.angles import extent, unwrapped


@given(st.floats(-20, 20), st.floats(-2.9, 2.9), st.integers(2, 200))
def test_steps_below_half_a_turn_are_what_they_were(start, step, count):
    """Worked the other way round: what is wrapped and unwrapped is the same but for whole turns."""
    true = start + step * np.arange(count)
    found = unwrapped(np.angle(np.exp(1j * true)))
    np.testing.assert_allclose(np.diff(found), step, atol=1e-9)
    turns = (found - true) / (2 * np.pi)
    np.testing.assert_allclose(turns, round(turns[0]), atol=1e-9)
    assert abs(np.median(found)) <= np.pi + 1e-9


def test_unknown_values_stay_unknown_and_stop_nothing():
    angle = np.array([3.0, np.nan, -3.0, -2.9, np.nan])
    found = unwrapped(angle)
    np.testing.assert_array_equal(np.isnan(found), np.isnan(angle))
    turn = 2 * np.pi  # worked by hand: 3.0, 3.28, 3.38 have a median above half a turn: one turn less
    np.testing.assert_allclose(found[[0, 2, 3]], [3.0 - turn, -3.0, -2.9])
    assert np.isnan(unwrapped(np.full(3, np.nan))).all()


def test_turns_that_nobody_counted_do_not_add_up():
    """An arm that hangs swings about the pole, unknown there: five times 300° is no plane of 1500°."""
    swing = np.radians([-150.0, -50.0, 50.0, 150.0, np.nan])
    found = np.degrees(unwrapped(np.tile(swing, 5)))
    np.testing.assert_allclose(found, np.tile([-150.0, -50.0, 50.0, 150.0, np.nan], 5))
    assert (
        np.ptp(np.degrees(extent(np.tile(np.nan_to_num(swing), 5), np.tile(np.isnan(swing) * 9.0, 5)))) < 301
    )


def test_an_extent_counts_only_what_is_known():
    angle = np.radians([10.0, 170.0, 182.0 - 360.0, 178.0, -90.0, 20.0])
    spread = np.radians([5.0, 5.0, 5.0, 5.0, 180.0, 5.0])
    np.testing.assert_allclose(np.degrees(extent(angle, spread)), [10.0, 182.0])
    assert np.degrees(np.ptp(extent(angle, None))) > 300.0
    assert np.isnan(extent(angle, np.full(6, np.pi))).all()
