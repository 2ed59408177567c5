"""Movements of which an example is given: found, counted, told apart, and what is refused."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from repeated import capture_of, evenly, fit_of
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.errors import InputError
from bodyfit.movement.repetitions.result import Repetition, Repetitions
from bodyfit.movement.repetitions.stream import stream_of
from bodyfit.movement.repetitions.telling import findings_of

MIXED = [*evenly("lift", 6, 2.4, 0.9), *evenly("turn", 5, 1.8, 0.7, start=24.0), ("lift", 40.0, 43.2)]
SECONDS = 46.0


def found_at(result, movement):
    return np.array([(r.start, r.end) for r in result.found if r.movement == movement])


@pytest.mark.parametrize("make", [fit_of, capture_of])
def test_two_movements_are_found_counted_and_told_apart(make):
    result = bodyfit.repetitions(make(MIXED, SECONDS, noise=0.05), {"lift": (2.0, 4.4), "turn": (24.0, 25.8)})
    assert result.counted == {"lift": 7, "turn": 5}
    for name in ("lift", "turn"):
        true = np.array([(a, b) for movement, a, b in MIXED if movement == name])
        assert np.abs(found_at(result, name) - true).max() < 0.2
    assert all(r.probability > 0.9 for r in result.found)


@pytest.mark.parametrize("make", [fit_of, capture_of])
def test_what_is_not_asked_for_is_left_out(make):
    result = bodyfit.repetitions(make(MIXED, SECONDS), (2.0, 4.4))
    assert result.counted == {"movement": 7}
    assert (found_at(result, "movement")[:6, 1] < 23).all()


def test_examples_at_one_tempo_find_others():
    slow, fast = evenly("lift", 3, 4.0, 1.0), evenly("lift", 4, 1.5, 1.0, start=20.0)
    recording = capture_of([*slow, *fast], 33.0)
    like = [(a, b) for _, a, b in slow]
    assert bodyfit.repetitions(recording, like).counted == {"movement": 7}


def test_an_example_of_another_recording():
    here, there = capture_of(evenly("lift", 5, 2.0, 1.0), 20.0), capture_of(evenly("lift", 1, 2.6, 1.0), 8.0)
    result = bodyfit.repetitions(here, {"lift": [(2.0, 4.6)]}, examples=there)
    assert result.counted == {"lift": 5}


def test_units_turned_otherwise_are_solved_for_when_said():
    done = evenly("lift", 6, 2.0, 1.0)
    turn = Rotation.from_rotvec([1.0, -1.5, 0.7])
    here, there = capture_of(done, 22.0, turned=turn), capture_of(done, 22.0)
    plain = bodyfit.repetitions(here, (2.0, 4.0), examples=there)
    assert plain.counted == {"movement": 0}
    assert "worn otherwise" in plain.findings[0].advice
    solved = bodyfit.repetitions(here, (2.0, 4.0), examples=there, worn_otherwise=True)
    assert solved.counted == {"movement": 6}
    assert [f.kind for f in solved.findings] == ["repetitions-worn-otherwise"]
    with pytest.raises(InputError, match="found no other recording"):
        bodyfit.repetitions(here, (2.0, 4.0), worn_otherwise=True)


def test_the_odd_one_is_listed():
    done = evenly("lift", 8, 2.0, 1.0)
    result = bodyfit.repetitions(fit_of(done, 28.0, sizes=[1, 1, 1, 1, 0.6, 1, 1, 1]), (2.0, 4.0))
    assert result.counted == {"movement": 8}
    assert [round(r.start) for r in result.odd] == [14] and "amplitude" in result.odd[0].odd
    assert result.odd[0].amplitude_ratio == pytest.approx(0.6, abs=0.1)  # of sines, not of angles
    assert [f.kind for f in result.findings] == ["repetition-odd"]


def test_a_find_that_is_more_likely_another_movement_is_told_as_not_sure():
    sure, unsure = (Repetition(t, t + 2, "rise", d, p) for t, d, p in ((2.0, 0.0, 0.99), (9.0, 0.55, 0.21)))
    told = findings_of([sure, unsure], {"rise": 2}, False, False)
    assert [(f.kind, f.severity, f.start) for f in told] == [("repetition-unsure", "warning", 9.0)]
    assert "not sure" in unsure.cells[-1] and sure.cells[-1] == ""
    found = Repetitions((sure, unsure), {"rise": 2, "fall": 0}, {"rise": 0.5, "fall": 0.0})
    assert [found.in_words(n) for n in found.counted] == [
        "2 repetitions, 1 of them not sure",
        "0 repetitions",
    ]


def test_mean_curves_are_those_of_the_movement():
    result = bodyfit.repetitions(fit_of(evenly("lift", 6, 2.4, 0.9), 24.0), {"lift": (2.0, 4.4)})
    curve = result.curves["lift"]
    share = curve.percent / 100
    assert curve.count == 6 and curve.mean["hip"]["flexion"].shape == (101,)
    expected = 1.2 * 0.5 * (1 - np.cos(2 * np.pi * share))
    assert np.abs(curve.mean["hip"]["flexion"] - expected).max() < np.radians(5)
    assert np.nanmax(curve.sd["hip"]["flexion"]) < np.radians(3)
    assert bodyfit.repetitions(capture_of(MIXED, SECONDS), (2.0, 4.4)).curves == {}


def test_joints_that_nothing_measured_are_neither_compared_nor_drawn():
    whole = fit_of(MIXED, SECONDS)
    hip = replace(whole.summary.joints["hip"], inferred=True)
    blind = replace(whole, summary=replace(whole.summary, joints={"hip": hip}))
    assert bodyfit.repetitions(whole, (2.0, 4.4)).curves["movement"].mean
    assert not any(one.mean for one in bodyfit.repetitions(blind, (2.0, 4.4)).curves.values())
    assert stream_of(blind).blocks[0].names == ("pelvis",)


def test_frames_hold_the_columns_of_the_contract():
    result = bodyfit.repetitions(fit_of(MIXED, SECONDS), {"lift": (2.0, 4.4)})
    table = result.to_frame()
    assert list(table.columns[:5]) == ["start_s", "end_s", "movement", "distance", "probability"]
    assert len(table) == 7 and (table.movement == "lift").all()
    curves = result.cycles_frame()
    assert list(curves.columns[:3]) == ["percent", "hip_flexion_mean_deg", "hip_flexion_sd_deg"]
    assert (curves.cycles == 7).all() and len(curves) == 101


@pytest.mark.parametrize(
    ("like", "words"),
    [
        ((4.0, 2.0), "at least 0.3 s from start to end"),
        ((44.0, 60.0), "within the recording, 0.00 to 45.96 s"),
        ({"lift": []}, "no example of 'lift'"),
        ({}, "found no example"),
        ("soon", "expected \\(start, end\\) in seconds"),
        ([(1.0, 2.0, 3.0)], "expected \\(start, end\\) in seconds"),
    ],
)
def test_examples_that_cannot_be_are_refused(like, words):
    with pytest.raises(InputError, match=words):
        bodyfit.repetitions(fit_of(MIXED, SECONDS), like)


def test_recordings_of_other_units_are_refused():
    with pytest.raises(InputError, match=r"found hip.* with joints; expected the units or"):
        bodyfit.repetitions(capture_of(MIXED, SECONDS), (2.0, 4.4), examples=fit_of(MIXED, SECONDS))
    with pytest.raises(InputError, match="no start and end in it"):
        bodyfit.repetitions(fit_of(MIXED, SECONDS), examples=fit_of(MIXED, SECONDS))


@pytest.mark.parametrize("count", [5, 12])
def test_a_set_is_counted_without_an_example(count):
    result = bodyfit.repetitions(capture_of(evenly("lift", count, 2.2, 0.4), 4 + 2.6 * count))
    assert result.counted == {"repeated": count}
    assert result.explained["repeated"] > 0.6 and result.findings == ()


def test_a_count_that_explains_little_asks_for_an_example():
    rng = np.random.default_rng(5)
    spans = np.cumsum(rng.uniform(0.8, 4.0, 12))
    done = [
        (("lift", "turn")[i % 3 // 2], float(a), float(b))
        for i, (a, b) in enumerate(itertools.pairwise(spans))
    ]
    result = bodyfit.repetitions(capture_of(done, float(spans[-1]) + 2, noise=1.0))
    assert [f.kind for f in result.findings if f.severity == "warning"] == ["repetitions-unsure"]
    assert "example" in result.findings[0].advice


def test_nothing_is_counted_at_rest():
    result = bodyfit.repetitions(capture_of([], 30.0))
    assert result.counted == {"repeated": 0} and not result.found
    assert result.findings[0].kind == "repetitions-none-counted"
