"""A unit that slips: found with its time and size in simulation, and never where nothing slipped."""
# pyright: reportArgumentType=false, reportCallIssue=false, reportOptionalSubscript=false, reportOptionalMemberAccess=false

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scipy.stats import chi2

import bodyfit
from bodyfit.alignment.compliance import freed_rotations
from bodyfit.core.arrays import scratch
from bodyfit.estimator.problem.build import units_and_ties
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.fitting.slip.detect import LEAST_GAIN, Slip, slip_finding, without_slip
from bodyfit.fitting.slip.joint_evidence import Centre, centre
from bodyfit.fitting.track import solve_track
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.study.planning.question import SIX, Question, WornSet, stretch, tolerances
from bodyfit.study.planning.trial import drawn
from bodyfit.weights import Weights

sys.path.append(str(Path(__file__).parents[2] / "docs"))
from mounting_honesty import KINDS, TWO, slipping

CASES = [(KINDS[0], 1), (KINDS[0], 4), (KINDS[1], 2), (KINDS[1], 0), (KINDS[2], 1), (KINDS[2], 3)]


@pytest.mark.parametrize(("kind", "seed"), CASES)
def test_a_slip_of_30_degrees_is_found_within_a_second(kind, seed):
    """Any of three units, at any time, about any axis across the segment; soft tissue of 3° per g.

    A turn about the line from a unit to its only joint leaves the arm as it is, so the size is a lower bound.
    """
    made, unit, when = slipping(kind, seed, 30.0, across=True)
    slips = bodyfit.fit(made.capture, sensors=TWO).summary.slips
    assert [slip.unit for slip in slips][:1] == [unit]
    assert abs(slips[0].time_s - when) < 1.0
    assert 10 <= slips[0].angle_deg < 40


@pytest.mark.parametrize(("kind", "seed"), [(kind, seed) for kind in KINDS for seed in (1, 2)])
def test_nothing_slips_where_nothing_slipped(kind, seed):
    made, _, _ = slipping(kind, seed, 0.0)
    assert bodyfit.fit(made.capture, sensors=TWO).summary.slips == ()


@pytest.mark.parametrize("seed", [2, 7])
def test_soft_tissue_and_foot_strikes_on_stairs_are_no_slip(seed):
    """15 s with a turn in them: arms along knee axes show little, and soft tissue bends them by 10 cm."""
    truth = Path(__file__).parents[2] / "demo_captures" / "steel_stairs" / "truth" / "segments.csv.gz"
    motion = stretch(read_motion(truth, read_model("lower_body")))
    settings = SimulationSettings(soft_tissue_deg_per_g=3.0, soft_tissue_mm_per_g=5.0)
    worn = WornSet(tuple((segment, SIX) for segment in motion.model.segments))
    _, capture = drawn(Question(motion, tolerances(["5"], motion), settings), worn, seed)
    assert bodyfit.fit(capture).summary.slips == ()


def one_joint(after: np.ndarray) -> Centre:
    """Agreement in 400 keyframes of a joint whose child's arm, 0.2 m along X, is another after the 200th."""
    rng = np.random.default_rng(0)
    A = rng.standard_normal((400, 3, 6))
    arms = np.array([0.0, 0.1, 0.0, 0.2, 0.0, 0.0])
    z = A @ arms + 0.05 * rng.standard_normal((400, 3))
    z[201:] += A[201:, :, 3:] @ (after - arms[3:])
    weighted = np.swapaxes(A, -1, -2) / 0.05**2
    H, b = np.cumsum(weighted @ A, 0), np.cumsum((weighted @ z[..., None])[..., 0], 0)
    return Centre(np.array([0, 1]), H, np.zeros((400, 6, 18)), b)


def test_many_keyframes_are_worked_on_in_rows(monkeypatch):
    capture, weights = slipping(KINDS[0], 1, 30.0)[0].capture, Weights()
    track = solve_track(capture, *units_and_ties(capture), weights, None)
    found = track.found
    freed = freed_rotations(found.body.elastic, found.state.R, found.average.force)

    def told() -> tuple[Centre, np.ndarray]:
        one = centre(track.problem, found.body, found.average, freed, 0)
        return one, one.free(int(one.units[1]))

    whole, gain = told()
    monkeypatch.setattr(scratch, "ROWS", 50)
    assert len(freed) > 100
    parts, in_parts = told()
    for name in ("H", "X", "b"):
        values = getattr(whole, name)
        np.testing.assert_allclose(getattr(parts, name), values, rtol=1e-9, atol=1e-9 * np.abs(values).max())
    np.testing.assert_allclose(in_parts, gain, rtol=1e-6, atol=1e-6 * gain.max())


def test_a_turn_explains_an_arm_that_turned():
    turn = Rotation.from_euler("z", 25, degrees=True)  # old_unit_from_new_unit
    joint = one_joint(turn.inv().apply([0.2, 0.0, 0.0]))
    gain = joint.free(1)
    assert np.argmax(gain) == 200
    assert joint.turned(200, 1, turn.as_matrix()) == pytest.approx(gain[200], rel=0.01)
    assert joint.turned(200, 1, turn.as_matrix().T) < 0


def test_no_turn_explains_an_arm_that_grew():
    joint = one_joint(np.array([0.3, 0.0, 0.0]))
    gain = joint.free(1)[200]
    turns = Rotation.random(200, random_state=np.random.default_rng(1)).as_matrix()
    assert gain > 1000
    assert max(joint.turned(200, 1, turn) for turn in turns) < 0.01 * gain


def test_later_samples_are_turned_into_the_frame_before_and_earlier_ones_left():
    capture = slipping(KINDS[0], 1, 0.0)[0].capture
    turn = Rotation.from_euler("x", 90, degrees=True).as_matrix()
    after = without_slip(capture, Slip("b_unit", 10.0, turn, np.pi / 2, 100.0)).units["b_unit"]
    before = capture.units["b_unit"]
    late = before.time > 10.0
    np.testing.assert_array_equal(after.gyroscope[~late], before.gyroscope[~late])
    x, y, z = before.gyroscope[late].T
    np.testing.assert_allclose(after.gyroscope[late], np.stack([x, -z, y], -1), atol=1e-12)  # by hand
    assert (
        capture.units["a_unit"].time
        is without_slip(capture, dataclasses.replace(Slip("b_unit", 10.0, turn, 1.0, 1.0)))
        .units["a_unit"]
        .time
    )


def test_the_finding_names_unit_time_and_size():
    found = slip_finding(Slip("shin", 12.34, np.eye(3), np.radians(25), 100.0))
    assert found.kind == "unit-slipped" and found.units == ("shin",) and found.start == 12.34
    assert "12.3 s" in found.what and "25°" in found.what and found.severity == "serious"


def test_the_threshold_is_what_chance_hardly_makes_and_a_turn_of_ten_degrees_does():
    """Chi square of three numbers, by scipy: once in a hundred hours of 15 units looked at twice a second; a
    turn of 10° that is seen to 1.5° (standard deviation) passes it.
    """
    assert 15 * 2 * 3600 * chi2.sf(LEAST_GAIN, 3) < 0.01
    assert LEAST_GAIN < (10.0 / 1.5) ** 2
