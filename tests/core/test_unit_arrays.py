"""Arrays of a unit: shapes that everything after relies on, or a refusal that names unit and array."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.core.arrays.unit_arrays import unit_arrays
from bodyfit.errors import InputError

NONE = dict.fromkeys(("accelerometer", "gyroscope", "magnetometer", "orientation", "mounting", "position"))


def given(**arrays):
    return {**NONE, "time": np.arange(4.0), **arrays}


def test_lists_become_arrays_of_floats_and_what_is_not_there_stays_none():
    arrays = unit_arrays("u", given(accelerometer=[[1, 2, 3]] * 4, mounting=[0, 0, 0, 1]))
    assert arrays["gyroscope"] is None
    found = arrays["accelerometer"]
    assert found is not None and found.dtype == float and found.shape == (4, 3)


def test_an_array_of_floats_is_not_copied():
    rate = np.zeros((4, 3))
    assert unit_arrays("u", given(gyroscope=rate))["gyroscope"] is rate


@pytest.mark.parametrize(
    ("arrays", "told"),
    [
        ({"time": None}, r"units\.u time: found None, expected \(N,\) seconds"),
        ({"time": np.zeros((4, 1))}, r"units\.u time: found an array \(4, 1\)"),
        ({"time": [0.0, 1.0, np.nan, 3.0]}, r"units\.u time: sample 3 is nan"),
        (
            {"gyroscope": np.zeros((3, 3))},
            r"units\.u gyroscope: found an array \(3, 3\), expected \(4, 3\), a row",
        ),
        ({"orientation": np.zeros((4, 3))}, r"orientation: .* expected \(4, 4\)"),
        ({"position": [1.0, 2.0]}, r"position: found an array \(2,\), expected \(3,\)"),
        ({"mounting": [0, 0, np.inf, 1]}, r"mounting: found \[0.0, 0.0, inf, 1.0\], expected finite numbers"),
        ({"accelerometer": [["x", 1, 2]] * 4}, r"units\.u accelerometer: .*; expected numbers"),
    ],
)
def test_what_does_not_fit_is_refused_by_name(arrays, told):
    with pytest.raises(InputError, match=told):
        unit_arrays("u", given(**arrays))


def test_samples_that_are_missing_are_let_through():
    gap = np.zeros((4, 3))
    gap[2] = np.nan
    assert unit_arrays("u", given(accelerometer=gap))["accelerometer"] is gap
