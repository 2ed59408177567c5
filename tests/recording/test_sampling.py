"""How units were sampled: gaps, dropped samples, jitter; and motions across gaps of one unit and of all."""
# pyright: reportArgumentType=false

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scripted_motion import relative_deg, simulated, with_units
from told import warned

import bodyfit
from bodyfit.calibration.sampling_findings import capture_findings, sampling_findings
from bodyfit.estimator.estimate import estimate
from bodyfit.estimator.problem.build import build_problem, units_and_ties
from bodyfit.fitting.select import selected
from bodyfit.recording.attitude import stretches, through_gaps
from bodyfit.recording.capture import Unit
from bodyfit.recording.resampling import common_signals
from bodyfit.recording.sampling import Coverage, sampling_of
from bodyfit.weights import Weights

INERTIAL = {"accelerometer", "gyroscope"}


def unit(time: np.ndarray) -> Unit:
    wave = np.sin(time[:, None] + np.arange(3))
    return Unit("a", "s", time, wave + np.array([0, 9.81, 0]), wave)


def without(u: Unit, start: float, end: float) -> Unit:
    keep = (u.time <= start) | (u.time >= end)
    return dataclasses.replace(u, time=u.time[keep], **{s: getattr(u, s)[keep] for s in u.sensors})


# ---- what is reported ----


def test_a_regular_unit_has_nothing_to_report():
    found = sampling_of(unit(np.arange(0, 10, 0.01)))
    assert found.frequency == pytest.approx(100) and found.jitter < 1e-9
    assert found.dropped == 0 and not len(found.gaps) and sampling_findings(found) == ()


def test_a_known_jitter_is_measured():
    rng = np.random.default_rng(0)
    found = sampling_of(unit(np.arange(0, 60, 0.02) + rng.normal(scale=0.0015, size=3000)))
    assert found.jitter == pytest.approx(0.0015, rel=0.05) and not found.irregular
    found = sampling_of(unit(np.arange(0, 60, 0.02) + rng.uniform(-0.004, 0.004, 3000)))
    assert found.jitter == pytest.approx(0.008 / np.sqrt(12), rel=0.05)  # of a uniform distribution
    assert [f.kind for f in sampling_findings(found)] == ["stamps-irregular"]


def test_dropped_samples_are_counted():
    keep = np.random.default_rng(1).random(5000) > 0.1
    found = sampling_of(unit(np.arange(0, 50, 0.01)[keep]))
    singles = 0.1 * 0.9**2  # share of samples missing alone; runs of two or more are gaps
    assert found.dropped == pytest.approx(singles, rel=0.1) and found.jitter < 1e-9
    kinds = [f.kind for f in sampling_findings(found)]
    assert kinds == ["gap-bridged", "samples-dropped"]


def test_gaps_are_bridged_or_split_and_a_jump_of_the_clock_is_no_jitter():
    u = without(without(unit(np.arange(0, 20, 0.01)), 4.0, 4.2), 10.0, 13.005)
    found = sampling_of(u)
    np.testing.assert_allclose(found.gaps, [[4.0, 4.2], [10.0, 13.01]], atol=1e-9)
    assert found.split.tolist() == [False, True] and found.jitter < 1e-9
    split, bridged = sampling_findings(found)
    assert split.kind == "gap-split" and (split.start, split.end) == (pytest.approx(10), pytest.approx(13.01))
    assert bridged.kind == "gap-bridged" and bridged.value == pytest.approx(0.2)
    assert "3.01 s from t = 10.00 s" in split.what and split.units == ("a",)


def test_pauses_of_all_units_are_told_once_and_a_gap_of_one_unit_by_itself():
    whole = without(without(unit(np.arange(0, 30, 0.01)), 5.0, 7.0), 12.0, 15.0)
    other = dataclasses.replace(without(whole, 20.0, 21.0), name="b")
    pauses, own = capture_findings([sampling_of(whole), sampling_of(other)])
    assert pauses.units == ("a", "b") and "2 gaps, 5.0 s together, the longest 3.0" in pauses.what
    assert own.units == ("b",) and "1.00 s from t = 20.00 s" in own.what


def test_nan_rows_of_one_sensor_are_a_gap():
    u = unit(np.arange(0, 10, 0.01))
    assert u.gyroscope is not None
    rate = u.gyroscope.copy()
    rate[300:400] = np.nan
    found = sampling_of(dataclasses.replace(u, gyroscope=rate))
    np.testing.assert_allclose(found.gaps, [[2.99, 4.0]], atol=1e-9)
    assert found.split.all()


def test_coverage_at_both_ends():
    seen = Coverage(np.arange(100, 300) * 0.01, 0.0, 3.1)
    t = np.array([0.0, 0.98, 1.0, 2.0, 2.99, 3.05])
    np.testing.assert_allclose(seen.gap(t), [1.0, 1.0, 0, 0, 0, 0.25])
    assert seen.lost(t).tolist() == [True, True, False, False, False, False]


# ---- what is made of it ----


def test_signals_in_a_long_gap_are_still_and_wholly_unknown():
    """The accelerometer reads noise, on which a cubic runs away; a still one would look like rest."""
    time, rng = np.arange(0, 10, 0.01), np.random.default_rng(2)
    force = rng.normal(size=(len(time), 3)) * (time < 5)[:, None] + np.array([0, 9.81, 0])
    u = without(dataclasses.replace(unit(time), accelerometer=force), 4.0, 7.0)
    signals = common_signals([u], [u])
    inside = (signals.key_time[:-1] > 4.0) & (signals.key_time[1:] < 7.0)
    assert signals.lost[inside].all() and np.all(signals.turn_unknown[inside] == 1)
    assert not signals.lost[(signals.key_time[1:] < 4.0) | (signals.key_time[:-1] > 7.0)].any()
    at = signals.pauses.true(signals.time[0] + signals.step * np.arange(len(signals.turns)))
    assert not signals.turns[(at > 4.0) & (at < 6.98)].any()
    assert np.abs(signals.specific_force).max() < 15  # no spline ran away
    assert abs(signals.covered.sum() - len(u.time)) <= 1
    still = dataclasses.replace(u, accelerometer=np.tile([0, 9.81, 0], (len(u.time), 1)))
    rest = common_signals([still], [still]).rest_rate
    assert not np.isfinite(rest[:-1][inside]).any()  # not measured is not at rest


def test_rotations_in_a_gap_go_evenly_from_end_to_end():
    lost = np.array([False, True, True, True, False, False])
    assert stretches(lost).tolist() == [0, 0, 0, 0, 1, 1, 1]
    angle = np.array([0.0, 0.1, 9.0, 9.0, 0.7, 0.8, 0.9])
    R = np.stack([np.cos(angle), np.zeros(7), np.sin(angle)], -1)
    matrices = np.zeros((7, 3, 3))
    matrices[:, 1, 1], matrices[:, 0, 0], matrices[:, 2, 2] = 1, R[:, 0], R[:, 0]
    matrices[:, 0, 2], matrices[:, 2, 0] = R[:, 2], -R[:, 2]
    bent = through_gaps(matrices, lost)
    found = np.arctan2(bent[:, 0, 2], bent[:, 0, 0])
    np.testing.assert_allclose(found, [0.0, 0.1, 0.3, 0.5, 0.7, 0.8, 0.9], atol=1e-12)


def fitted_with(change) -> tuple[bodyfit.Fit, dict[str, float]]:
    """A fit of the swinging arm with units changed, and its errors by joint outside 6 to 9 s."""
    made = simulated("right_arm")
    units = {n: change(u) for n, u in made.capture.units.items()}
    found = bodyfit.fit(with_units(made.capture, units), sensors=INERTIAL)
    true_at = np.round((found.time - made.truth.time[0]) / np.median(np.diff(made.truth.time))).astype(int)
    outside = (found.time < 6.0) | (found.time > 9.0)
    mine = {n: R[outside] for n, R in found.rotations.items()}
    truth = {n: R[true_at[outside]] for n, R in made.truth.rotations.items()}
    return found, relative_deg(made.truth.model, mine, truth)


@pytest.mark.parametrize("gap", [0.2, 3.0])
def test_standard_deviations_grow_inside_a_gap(gap):
    """Of each unit's rotation, from the information matrix at the end."""
    capture = simulated("right_arm").capture
    cut = with_units(
        capture,
        {n: without(u, 6.0, 6.0 + gap) if n == "r_forearm_unit" else u for n, u in capture.units.items()},
    )
    worn = selected(cut, INERTIAL, ())
    units, ties = units_and_ties(worn)

    def problem_at(late):
        signals = common_signals(units, units, late.latency, (late.offset, late.drift))
        return build_problem(worn, signals, units, ties, Weights())

    found = estimate(problem_at, 0.0, len(units))
    forearm = [unit.name for unit in units].index("r_forearm_unit")
    sd, at = np.sqrt(np.trace(found.rotation[:, forearm], axis1=-2, axis2=-1)), found.problem.signals.key_time
    inside, before = (at > 6.0) & (at < 6.0 + gap), (at > 4.0) & (at < 5.5)
    assert sd[inside].max() > (1.2 if gap < 1 else 5) * sd[before].max()


def test_one_unit_away_for_three_seconds_harms_only_that_stretch():
    _, intact = fitted_with(lambda u: u)
    found, broken = fitted_with(lambda u: without(u, 6.0, 9.0) if u.name == "r_forearm_unit" else u)
    for joint, error in broken.items():
        assert error < intact[joint] + 0.8  # degrees; there are 15 s of motion in all
    ((start, end),) = found.summary.sampling.inferred_s["r_forearm"]
    assert start == pytest.approx(6.0, abs=0.15) and end == pytest.approx(9.0, abs=0.15)
    assert found.summary.sampling.stretches_s == ((found.time[0], found.time[-1]),)


def test_all_units_away_split_the_capture():
    found, broken = fitted_with(lambda u: without(u, 6.5, 8.5))
    (_, first), (second, _) = found.summary.sampling.stretches_s
    assert first == pytest.approx(6.5, abs=0.03) and second == pytest.approx(8.5, abs=0.03)
    assert not np.any((found.time > 6.53) & (found.time < 8.47))
    assert max(broken.values()) < 2.0
    assert any("split into" in w for w in warned(found))
