"""Residuals made a stretch of keyframes at a time against those of all keyframes at once."""

# pyright: reportArgumentType=false

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from estimated import estimated
from package_sources import PACKAGE

import bodyfit
from bodyfit.estimator.linearise import linearise
from bodyfit.estimator.problem.estimate import Estimate
from bodyfit.estimator.solver import block_tridiagonal, residual_pieces
from bodyfit.estimator.solver.block_tridiagonal import Stretches, assemble
from bodyfit.estimator.solver.residual_pieces import Residuals
from bodyfit.estimator.uncertainty.held_parameters import WithConstants, with_constants

CHUNK = 23  # keyframes: of no length, and of no capture here, a divisor


@pytest.fixture(scope="module")
def few_units() -> Estimate:
    """Bare segments, arms across them, a declared pose, a foot that stands, a seat; twelve seconds of it."""
    capture = bodyfit.read_capture(PACKAGE.parent / "demo_captures" / "steel_stairs")
    start = next(iter(capture.units.values())).time[0]
    left_out = [n for n, u in capture.units.items() if u.segment in ("l_calf", "r_hindfoot")]
    found = estimated(capture.between(start, start + 12.0), leave_out=left_out)[1]
    everywhere = np.zeros((len(found.state.R), len(found.problem.soles)), bool)
    everywhere[40:60] = True
    seated = np.zeros((len(found.state.R), len(found.problem.postures.ends)), bool)
    seated[50:80] = True
    body = dataclasses.replace(found.body, standing=everywhere, seated=seated)
    return dataclasses.replace(found, body=body)


@pytest.fixture
def residuals(few_units, monkeypatch) -> Residuals:
    monkeypatch.setattr(block_tridiagonal, "WHOLE_BYTES", 0.0)
    monkeypatch.setattr(block_tridiagonal, "CHUNK_BYTES", CHUNK * 16.0 * (3 * few_units.state.slots) ** 2 + 1)
    return Residuals(*given(few_units))


def given(found: Estimate) -> tuple:
    return found.problem, found.state, found.body, found.average, found.trust


def test_pieces_make_the_same_normal_equations(few_units, residuals):
    whole = linearise(*given(few_units))
    names = {part.name for part in whole}
    assert {"posture", "position", "bridge", "way", "sole", "rotation at the start"} <= names
    assert len(residuals.chunks) > 3
    for start, end in residuals.chunks:
        parts, row = residuals.piece(start, end)
        one = assemble(whole, few_units.state.slots, start, end)
        other = assemble(parts, few_units.state.slots, row, row + end - start)
        np.testing.assert_allclose(other.gradient, one.gradient, rtol=1e-9, atol=1e-9)
        assert {*one.own} == {*other.own} and {*one.next} == {*other.next}
        for blocks, alike in ((one.own, other.own), (one.next, other.next)):
            for at, values in blocks.items():
                np.testing.assert_allclose(alike[at], values, rtol=1e-9, atol=1e-9)


def test_cost_and_figures_are_those_of_all(few_units, residuals):
    whole = linearise(*given(few_units))
    assert residuals.cost == pytest.approx(sum(part.robust_cost for part in whole), rel=1e-12)
    told = residuals.root_mean_squares()
    for part in whole:  # of several alike the last one is told
        if (active := part.weight > 0).any():
            last = [p for p in whole if p.name == part.name and (p.weight > 0).any()][-1]
            expected = np.sqrt(np.mean(last.value[last.weight > 0] ** 2))
            assert told[part.name] == pytest.approx(expected, rel=1e-12), active.sum()
    assert {*told} == {part.name for part in whole if (part.weight > 0).any()}


def test_constants_of_a_piece_are_those_of_all(few_units, residuals):
    problem, state, body, average, _ = given(few_units)

    whole = with_constants(linearise(*given(few_units)), problem, state, body, average)
    start, end = residuals.chunks[1]
    parts, row = WithConstants(residuals, problem, state, body, average).piece(start, end)
    later = [part for part in whole if len(part.value) > 1]
    assert [part.name for part in parts] == [part.name for part in later if "start" not in part.name]
    for part in parts:
        if part.constants is None:
            continue
        same = next(p for p in later if p.name == part.name and p.constants is not None)
        np.testing.assert_array_equal(part.constants[0], same.constants[0])
        if len(same.constants[1]) == len(same.value):
            own = part.constants[1][row : row + end - start]
            np.testing.assert_allclose(own, same.constants[1][start:end], rtol=1e-9, atol=1e-12)


def test_what_is_large_is_made_anew(monkeypatch, residuals):
    made = []

    def counted(*given, **options):
        made.append(1)
        return linearise(*given, **options)

    monkeypatch.setattr(residual_pieces, "linearise", counted)
    for _ in range(2):
        _ = [residuals.piece(*chunk) for chunk in residuals.chunks]
    assert len(made) == len(residuals.chunks)
    monkeypatch.setattr(residual_pieces, "KEPT_BYTES", 0.0)
    made.clear()
    short = Residuals(*residuals.given)
    for _ in range(2):
        _ = [short.piece(*chunk) for chunk in short.chunks]
    assert len(made) == 2 * len(short.chunks) and len(short.kept) == 1


def test_a_stretch_is_made_once_in_a_row(residuals):
    """What a step asks of a stretch several times, its factor and its border."""
    asked = []

    class Counted:
        def piece(self, start, end):
            asked.append((start, end))
            return residuals.piece(start, end)

    stretches = Stretches(Counted(), residuals.given[1].slots, residuals.keyframes)
    asked.clear()
    for index in (0, 0, 1, 1, 0):
        assert stretches.of(index)[1] >= 0
    assert asked == [stretches.chunks[index] for index in (0, 1, 0)]
