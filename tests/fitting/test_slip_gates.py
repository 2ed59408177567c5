"""A slip is only looked for where it can be believed: the solve converged, and the sensors are sound."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from bodyfit.fitting import track as tracks
from bodyfit.weights import Weights


@pytest.fixture
def asked(monkeypatch):
    """What `find_slip` was given, while nothing is solved; `converged` of the solve may be set."""
    seen = SimpleNamespace(converged=True, doubted=None, calls=0)

    def solved(*_):
        found = SimpleNamespace(
            converged=seen.converged,
            state=SimpleNamespace(R=np.eye(3)),
            body=SimpleNamespace(elastic=None),
            average=SimpleNamespace(force=None),
        )
        return SimpleNamespace(found=found, problem=None)

    def find(problem, body, average, freed, doubted):
        seen.calls, seen.doubted = seen.calls + 1, doubted

    monkeypatch.setattr(tracks, "solve_track", solved)
    monkeypatch.setattr(tracks, "units_and_ties", lambda capture: ([], []))
    monkeypatch.setattr(tracks, "freed_rotations", lambda *_: np.eye(3))
    monkeypatch.setattr(tracks, "find_slip", find)
    return seen


def test_units_whose_sensors_are_doubted_are_told_to_the_search(asked):
    intake = SimpleNamespace(capture=None, missed={}, doubted=frozenset({"hand"}))
    tracks.solve_with_slips(intake, Weights(), None)  # type: ignore[arg-type]
    assert asked.calls == 1 and asked.doubted == {"hand"}


def test_after_a_solve_that_did_not_converge_none_is_looked_for(asked):
    asked.converged = False
    intake = SimpleNamespace(capture=None, missed={}, doubted=frozenset())
    _, _, slips = tracks.solve_with_slips(intake, Weights(), None)  # type: ignore[arg-type]
    assert asked.calls == 0 and slips == []
