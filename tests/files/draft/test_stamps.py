"""Which column is time, in which unit, and how many samples make a second."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from bodyfit.files.draft.stamps import draft_time
from bodyfit.files.plain.tables import Table

ROWS = np.arange(200)


def table(**columns) -> Table:
    return Table(
        Path("x.csv"), tuple(columns), tuple(pa.chunked_array([values]) for values in columns.values())
    )


@pytest.mark.parametrize(
    ("name", "values", "unit"),
    [
        ("time_s", 0.01 * ROWS, "s"),
        ("Timestamp", 10.0 * ROWS, "ms"),
        ("t_us", 10_000.0 * ROWS, "us"),
        ("time", 1.7e18 + 1e7 * ROWS, "ns"),
    ],
)
def test_stamps_tell_their_unit_by_their_steps(name, values, unit):
    found = draft_time(table(acc_x=np.sin(ROWS), **{name: values}), "")
    assert (found.column, found.unit, found.needs_rate) == (name, unit, False)
    assert found.step == pytest.approx(0.01, rel=1e-6)


def test_a_counter_takes_its_rate_from_the_lines_before_the_header():
    found = draft_time(table(counter=ROWS, acc_x=np.sin(ROWS)), "Sampling rate: 128 Hz")
    assert (found.column, found.unit, found.rate, found.needs_rate) == ("counter", "samples", 128.0, True)
    assert draft_time(table(counter=ROWS), "").rate is None


def test_stamps_too_coarse_for_their_rows_are_left_for_a_rate():
    found = draft_time(table(time=np.floor(0.01 * ROWS)), "")
    assert found.column is None and found.needs_rate and "too coarse" in found.why


def test_without_any_the_rows_are_evenly_spaced():
    found = draft_time(table(acc_x=np.sin(ROWS)), "frequency = 50")
    assert (found.column, found.rate, found.step) == (None, 50.0, 0.02)
