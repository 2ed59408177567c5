"""A declared pose counts only for those who recorded it, and is never replaced by another moment."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

import bodyfit
from bodyfit.calibration.declared_stretches import stretch_findings
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


def test_a_pose_that_one_unit_missed_is_named_and_tells_nothing(cello):
    late = cello.units["hand"].between(10.0, 1e9)
    capture = dataclasses.replace(cello, units={**cello.units, "hand": late})
    (finding,) = stretch_findings(capture, True)
    assert finding.kind == "stretch-unseen" and finding.severity == "serious" and finding.units == ("hand",)
    assert finding in examine(capture).findings
    assert problem_of(cello, Weights()).held and not problem_of(capture, Weights()).held


def test_a_recorded_pose_raises_nothing(cello):
    assert stretch_findings(cello, True) == ()


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
