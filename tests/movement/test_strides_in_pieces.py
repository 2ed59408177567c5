"""A long recording is solved in pieces that overlap, and tells what it tells as a whole."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import bodyfit
from bodyfit.core.findings import Finding
from bodyfit.files.model.model_file import read_model
from bodyfit.movement.strides import pieces
from bodyfit.recording.capture import Capture
from tests.feet.stepping import stepping


def strides_of(made, **changes):
    unit = dataclasses.replace(made.unit, **changes)
    return bodyfit.strides(Capture({"foot": unit}, read_model("right_leg")))


@pytest.fixture(scope="module")
def made():
    return stepping(segment="r_hindfoot", count=34)


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setattr(pieces, "WHOLE_S", 20.0)
    monkeypatch.setattr(pieces, "PIECE_S", 15.0)
    monkeypatch.setattr(pieces, "MARGIN_S", 5.0)


def test_pieces_tell_the_same_strides_once(made, small, monkeypatch):
    found = strides_of(made)
    monkeypatch.setattr(pieces, "WHOLE_S", 1000.0)
    whole = strides_of(made)
    assert len(found.strides) == len(whole.strides) == len(made.off) - 1
    np.testing.assert_allclose([s.start for s in found.strides], [s.start for s in whole.strides], atol=0.005)
    np.testing.assert_allclose(
        [s.length for s in found.strides], [s.length for s in whole.strides], atol=0.02
    )
    assert len(found.events) == len(whole.events)


def test_tracks_of_pieces_lie_on_each_other(made, small):
    track = strides_of(made).tracks["right"]
    assert np.all(np.diff(track.time) > 0) and np.diff(track.time).max() < 0.04
    steps = np.linalg.norm(np.diff(track.place, axis=0), axis=1)
    assert steps.max() < 0.15  # no jump: the foot's top speed is 6 m/s
    way = track.place[-1] - track.place[0]
    assert np.hypot(way[0], way[2]) == pytest.approx(len(made.off) * made.length, rel=0.03)


def test_a_piece_without_samples_tells_nothing(made, small):
    time = made.unit.time
    keep = (time < 12) | (time > 33)
    cut = {name: getattr(made.unit, name)[keep] for name in ("time", "accelerometer", "gyroscope")}
    found = strides_of(made, **cut)
    starts = np.array([stride.start for stride in found.strides])
    assert np.sum(starts < 12) >= 8 and np.sum(starts > 33) >= 3
    assert not np.any((starts > 12.5) & (starts < 32.5))


def test_the_worst_of_all_pieces_is_told_once():
    def piece(value):
        return pieces.Told(
            [], [], {}, [("left", Finding("stride-gaps", "warning", "gaps", "do", value=value))]
        )

    joined = pieces._joined([piece(0.1), piece(0.3), piece(0.2)])
    ((side, one),) = joined.findings
    assert side == "left" and one.value == 0.3 and "in the worst" in one.what
