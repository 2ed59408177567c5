"""Postures from which bare segments may start: what is drawn, what is kept, and what that is good for."""

# pyright: reportArgumentType=false, reportOptionalSubscript=false

from __future__ import annotations

import dataclasses
import importlib
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.core.rotations import heading_matrix, heading_towards
from bodyfit.estimator import estimate
from bodyfit.estimator.initial import multi_start as explanations
from bodyfit.estimator.initial.multi_start import explained, groups_of
from bodyfit.estimator.problem.unmeasured_chains import Bridge

ROOT = Path(__file__).resolve().parents[2]
CELLO, DOCS = ROOT / "demo_captures" / "cello_arm", ROOT / "docs"


def test_bare_segments_that_share_a_way_are_one_group():
    ways = [(0, 1, 2), (0, 1, 3, 5), (0, 1, 4, 6), (0, 7, 8), (9, 10, 11)]
    problem = SimpleNamespace(bridges=[Bridge(way, ()) for way in ways])
    assert [list(group) for group in groups_of(problem)] == [[1, 3, 4], [7], [10]]


def test_groups_that_a_later_way_joins_are_one():
    problem = SimpleNamespace(bridges=[Bridge(way, ()) for way in ((0, 1, 2), (0, 3, 4), (2, 1, 3, 4))])
    assert [list(group) for group in groups_of(problem)] == [[1, 3]]


def test_the_heading_that_brings_rotations_closest_is_that_of_a_search():
    rng = np.random.default_rng(1)
    R = Rotation.from_rotvec(2.0 * rng.standard_normal((40, 3))).as_matrix()
    noise = Rotation.from_rotvec(0.3 * rng.standard_normal((40, 3))).as_matrix()
    wanted = noise @ heading_matrix(np.array(1.9)) @ R

    def squares(angle: float) -> float:
        return float(np.sum(np.square(heading_matrix(np.array(angle)) @ R - wanted)))

    best = minimize_scalar(squares, bounds=(0.5, 3.0), method="bounded", options={"xatol": 1e-9})  # scipy
    assert heading_towards(R, wanted) == pytest.approx(best.x, abs=1e-6)  # type: ignore


def test_bare_segments_in_several_places_keep_their_usual_postures():
    problem = SimpleNamespace(bridges=[Bridge(way, ()) for way in ((0, 1, 2), (0, 3, 4))])
    assert explained(problem, "state", "body", None) == ("state", "body")


class Started(Exception):
    """Stops a fit at its start values."""


def started(capture: bodyfit.Capture, monkeypatch, **options):
    """What the search is given in a fit."""
    got = []

    def take(*given):
        got.append(given)
        raise Started

    with monkeypatch.context() as patch:
        patch.setattr(estimate, "explained", take)
        with pytest.raises(Started):
            bodyfit.fit(capture, **options)
    return got[0]


def test_a_draw_turns_joints_from_their_usual_posture_and_headings_with_them(monkeypatch):
    """Inclinations that units tell stay; each joint beside the bare segment is where the draw says."""
    capture = bodyfit.read_capture(CELLO).between(0.0, 8.0)
    given = started(capture, monkeypatch, sensors={"accelerometer", "gyroscope"}, leave_out=["upper_arm"])
    problem, state, body, trust = given
    known, M = problem.postures, body.mounting.segment_from_unit
    draw = np.array([[0.5, -1.0, 0.8], [-0.7, 0.4, 1.0]])
    drawn = explanations._drawn(problem, state, body.mounting, trust, draw).R
    bare = int(np.flatnonzero(~problem.measured)[0])
    turns = (
        known.usual @ Rotation.from_rotvec(np.linalg.solve(known.whiten, draw[..., None])[..., 0]).as_matrix()
    )
    (p, c), turn = known.ends[0], turns[0]
    assert c == bare
    segment = drawn @ np.swapaxes(M, -1, -2)
    np.testing.assert_allclose(
        np.swapaxes(segment[:, p], -1, -2) @ segment[:, c],
        np.broadcast_to(turn, (len(segment), 3, 3)),
        atol=1e-9,
    )
    for unit in np.flatnonzero(problem.measured):
        np.testing.assert_allclose(
            drawn[:, unit, 1], state.R[:, unit, 1], atol=1e-9
        )  # up, in the unit's frame
    p, c = known.ends[1]
    wanted = segment[:, p] @ turns[1]
    assert heading_towards(segment[:, c], wanted) == pytest.approx(0.0, abs=1e-9)
    assert abs(heading_towards(state.R[:, c], drawn[:, c])) > np.radians(5.0)


def test_headings_that_a_field_tells_are_not_drawn(monkeypatch):
    capture = bodyfit.read_capture(CELLO).between(0.0, 8.0)
    problem, state, body, trust = started(capture, monkeypatch, leave_out=["upper_arm"])
    told = dataclasses.replace(trust, trusted=np.ones_like(trust.trusted))
    for field, same in ((told, True), (trust.without(problem.measured), False)):
        drawn = explanations._drawn(problem, state, body.mounting, field, np.ones((2, 3))).R
        assert np.array_equal(drawn[:, problem.measured], state.R[:, problem.measured]) == same


def test_nothing_is_searched_where_every_segment_has_a_unit(monkeypatch):
    capture = bodyfit.read_capture(CELLO).between(0.0, 8.0)
    problem, state, body, trust = started(capture, monkeypatch)
    assert explained(problem, state, body, trust) == (state, body)


@pytest.fixture
def few(recordings):
    """Captures with few units, made from recorded motion."""
    sys.path.insert(0, str(DOCS))
    yield importlib.import_module("few_units")
    sys.path.remove(str(DOCS))


def test_an_arm_held_up_is_not_taken_for_one_that_hangs(few, monkeypatch):
    """Who washes a window holds the elbow up; from an arm that hangs the solver ends on the wrong side.

    Units on trunk and hand. Of ten such motions this is the one that tells; the others end alike.
    """
    capture, truth = few.made(few.CASES["arm"], "wash")
    worn = [str(unit.segment) for unit in capture.units.values()]

    def found() -> tuple[float, float]:
        score = few.score(bodyfit.fit(capture, {"accelerometer", "gyroscope"}), truth, worn)
        return score.turn_deg(), score.angles.share

    error, share = found()
    monkeypatch.setattr(estimate, "explained", lambda problem, state, body, trust: (state, body))
    assert error < 0.8 * found()[0]  # measured: 16 and 29 degrees
    assert share >= 0.9
