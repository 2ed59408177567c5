"""Stamps that would ask for far more than their samples fill are refused before anything is allocated."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest

import bodyfit
from bodyfit.errors import InputError
from bodyfit.recording.resampling import check_stamps
from bodyfit.recording.stamp_span import check_span

DEMOS = Path(__file__).resolve().parents[2] / "demo_captures"
TIME = np.arange(1000) / 100
YEAR = 365.25 * 86400


def unit(time):
    rows = np.tile([0.0, 9.81, 0.0], (len(time), 1))
    return bodyfit.Unit("hand", None, time, rows, rows)


STRAY = {
    "stray": (np.r_[-1.7e9, TIME], "samples 1 "),
    "year": (np.r_[TIME[:500], TIME[500:] + YEAR], "samples 500 "),
    "hour": (np.r_[TIME[:500], TIME[500:] + 3600.0], "samples 500 "),
    "picoseconds": (np.r_[TIME[:400], 4.0 + 1e-12 * np.arange(600)], "samples "),
}


@pytest.mark.parametrize("name", STRAY)
def test_what_samples_do_not_fill_is_refused_by_row(name):
    time, row = STRAY[name]
    tracemalloc.start()
    with pytest.raises(InputError, match="hand") as told:
        check_stamps(unit(time))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert row in str(told.value) and peak < 1e6


def test_a_stamp_that_is_no_number_is_named():
    with pytest.raises(InputError, match="sample 4 is nan"):
        check_stamps(unit(np.r_[TIME[:3], np.nan, TIME[4:]]))


def test_usual_pauses_pass():
    check_span("hand", TIME)
    check_span("hand", np.r_[TIME, TIME + 300.0])
    check_span("hand", np.r_[np.arange(60_000) / 100, np.arange(60_000) / 100 + 4200.0])


def test_demos_and_recordings_pass(recordings):
    for folder in [*DEMOS.iterdir(), *recordings.iterdir()]:
        if (folder / "setup.toml").is_file() and not folder.name.startswith("people"):
            for one in bodyfit.read_capture(folder).units.values():
                check_span(one.name, one.time)
