"""A declared pose counts only for those who recorded it, and is never replaced by another moment."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

import bodyfit
from bodyfit.calibration.declared_stretches import reaching_stretches, stretch_findings
from bodyfit.calibration.intake import examine
from bodyfit.errors import InputError
from bodyfit.estimator.problem.build import problem_of
from bodyfit.estimator.updates.joint_evidence import inside_of
from bodyfit.recording.capture import Calibration
from bodyfit.weights import Weights

DEMO = Path(__file__).resolve().parents[2] / "demo_captures" / "cello_arm"


@pytest.fixture(scope="module")
def cello():
    return bodyfit.read_capture(DEMO)


def declaring(capture, start, end):
    return dataclasses.replace(capture, calibrations=(Calibration("still", start, end),))


def test_a_pose_that_one_unit_missed_is_named_and_tells_nothing_of_that_unit_alone(cello):
    late = cello.units["hand"].between(10.0, 1e9)
    capture = dataclasses.replace(cello, units={**cello.units, "hand": late})
    (finding,) = stretch_findings(capture)
    assert finding.kind == "stretch-unseen" and finding.severity == "warning" and finding.units == ("hand",)
    intake = examine(capture)
    assert finding in intake.findings
    assert problem_of(cello, Weights()).held and not problem_of(capture, Weights()).held
    assert problem_of(intake.capture, Weights()).held  # the others' time counts, the hand has a gap
    hand = intake.capture.units["hand"]
    assert hand.time[0] <= 0.5 and np.isnan(hand.gyroscope[hand.time < 9.9]).all()
    np.testing.assert_array_equal(hand.gyroscope[-4900:], late.gyroscope[-4900:])


def test_a_unit_that_ended_before_a_pose_has_a_gap_there(cello):
    early = cello.units["hand"].between(0.0, 40.0)
    units = {**cello.units, "hand": early}
    capture = reaching_stretches(dataclasses.replace(declaring(cello, 50.0, 52.0), units=units))
    assert capture.units["hand"].time[-1] == pytest.approx(52.0, abs=0.02)
    assert capture.units["forearm"] is cello.units["forearm"]


def test_a_recorded_pose_raises_nothing(cello):
    assert stretch_findings(cello) == ()
    assert reaching_stretches(cello) is cello


def test_a_cut_that_loses_the_pose_says_so(cello):
    cut = cello.between(10.0, 60.0)
    assert cut.calibrations == () and [note.kind for note in cut.notes] == ["stretch-unseen"]


@pytest.mark.parametrize(
    ("start", "end"), [(100, 200), (-9, -5), (np.nan, 2), (1, np.nan), (3, 2), (1, np.inf)]
)
def test_a_pose_outside_the_recording_is_refused(cello, start, end):
    with pytest.raises(InputError, match=r"calibration \(still\)"):
        examine(declaring(cello, start, end))


def test_keyframes_of_another_time_never_stand_in():
    time = np.arange(10.0, 20.0, 0.1)
    assert not inside_of(time, 1.0, 3.0).any() and not inside_of(time, 30.0, 40.0).any()
    assert inside_of(time, 12.02, 12.06).sum() == 1
