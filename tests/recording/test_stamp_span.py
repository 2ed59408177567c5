"""Stamps that would ask for far more than their samples fill are refused before anything is allocated."""

from __future__ import annotations

import dataclasses
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

import bodyfit
from bodyfit.calibration.intake import examine
from bodyfit.errors import InputError
from bodyfit.recording.resampling import check_stamps, common_signals
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
    "two days": (np.r_[TIME[:500], TIME[500:] + 2 * 86400.0], "samples 500 "),
    "a stray stamp an hour later": (np.r_[TIME, TIME[-1] + 3600.0], "samples 1000 "),
    "one between pauses": (np.r_[TIME, 3600.0, 9000.0 + TIME], "samples 1000 "),
    "a stray burst": (np.r_[TIME, 3600.0 + np.arange(50) / 100], "samples 1000 "),
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


def test_an_hour_in_which_no_unit_recorded_is_a_pause():
    """Nothing is carried of it, nor by a unit that missed the pose before it and is made to reach there."""
    units = {}
    for name, one in bodyfit.read_capture(DEMOS / "cello_arm").between(0, 12).units.items():
        units[name] = dataclasses.replace(one, time=one.time + 3600.0 * (one.time > 6.0))
    capture = dataclasses.replace(bodyfit.read_capture(DEMOS / "cello_arm"), units=units)
    intake = examine(capture)
    late = {**units, "hand": units["hand"].between(3606.0, 4000.0)}
    padded = examine(dataclasses.replace(capture, units=late)).capture.units["hand"]
    assert padded.time[0] < 3.0 and len(padded.time) < 2 * len(late["hand"].time)
    split = [f for f in intake.findings if f.kind == "gap-split"]
    assert len(split) == 1 and split[0].value == pytest.approx(3600.0, abs=0.1)
    assert len(common_signals(list(units.values()), units.values()).time) < 1300


def test_demos_and_recordings_pass(recordings):
    for folder in [*DEMOS.iterdir(), *recordings.iterdir()]:
        if (folder / "setup.toml").is_file() and not folder.name.startswith("people"):
            for one in bodyfit.read_capture(folder).units.values():
                check_span(one.name, one.time)
