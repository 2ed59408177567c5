"""Joints that no unit measured: kept in the fit and marked, not shown unless asked for, never in front."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

import bodyfit
from bodyfit.commands.main import main
from bodyfit.core.findings import Finding, inferred_as_notes
from bodyfit.files.motion.pose_tables import read_joints
from bodyfit.recording.capture import unmeasured_joints
from bodyfit.study.report.files import read_fit_files

DEMO = Path(__file__).parents[2] / "demo_captures" / "cello_arm"


@pytest.fixture(scope="module")
def elbow() -> bodyfit.Fit:
    """Two units of the demo's four, on the model of the whole arm."""
    capture = bodyfit.read_capture(DEMO).without("breastbone", "hand").between(0.0, 12.0)
    return bodyfit.fit(capture)


def test_marked_in_the_result(elbow: bodyfit.Fit) -> None:
    assert elbow.inferred_joints == ("r_shoulder", "r_radiocarpal")
    assert set(elbow.joint_angles) == {"r_shoulder", "r_elbow", "r_radiocarpal"}
    for finding in elbow.findings:
        if finding.joints and set(finding.joints) <= set(elbow.inferred_joints) and not finding.units:
            assert finding.severity == "note"
    assert "segment-without-unit" in {finding.kind for finding in elbow.findings}


def test_left_out_of_files_unless_asked_for(tmp_path: Path, elbow: bodyfit.Fit) -> None:
    elbow.write(tmp_path)
    columns = set(read_joints(tmp_path / "joints.csv").angles)
    assert columns == {"r_elbow_flexion", "r_elbow_carrying_angle", "r_elbow_pronation"}
    assert set(read_fit_files(tmp_path).angles) == {"r_elbow"}
    read = bodyfit.read_fit(tmp_path)
    assert set(read.inferred_joints) == set(elbow.inferred_joints) and "r_shoulder" in read.joint_angles
    bodyfit.export(elbow, tmp_path / "fit.parquet")
    handed = set(pd.read_parquet(tmp_path / "fit.parquet").columns)
    assert "r_elbow_flexion_deg" in handed and not any(c.startswith("r_shoulder_") for c in handed)

    elbow.write(tmp_path, inferred=True)
    assert "r_shoulder_elevation" in read_joints(tmp_path / "joints.csv").angles
    assert set(read_fit_files(tmp_path).angles) == {"r_shoulder", "r_elbow", "r_radiocarpal"}


def test_review_puts_them_last(elbow: bodyfit.Fit) -> None:
    found = bodyfit.review(elbow)
    only = [bool(f.joints) and not f.units and set(f.joints) <= set(elbow.inferred_joints) for f in found]
    assert all(f.severity == "note" for f, inferred in zip(found, only, strict=True) if inferred)


def test_findings_about_measured_joints_keep_their_weight() -> None:
    one = Finding("joint-range", "serious", "w", "a", joints=("r_hip",), harm_deg=30.0)
    both = dataclasses.replace(one, joints=("r_hip", "r_knee"))
    worn = dataclasses.replace(one, units=("thigh",))
    notes = inferred_as_notes([one, both, worn], ["r_hip"])
    assert [(f.severity, f.harm_deg) for f in notes] == [("note", 0.0), ("serious", 30.0), ("serious", 30.0)]


def test_the_command_shows_them_on_request(tmp_path: Path) -> None:
    call = [
        "fit",
        str(DEMO),
        "--leave-out",
        "breastbone",
        "--leave-out",
        "hand",
        "--out",
        str(tmp_path / "o"),
    ]
    plain = CliRunner().invoke(main, call)
    assert (
        plain.exit_code == 0 and "inferred, not shown (--inferred): r_shoulder, r_radiocarpal" in plain.output
    )
    assert "plane of elevation" not in plain.output
    asked = CliRunner().invoke(main, [*call, "--inferred"])
    assert "plane of elevation" in asked.output and "not shown" not in asked.output
    assert "r_shoulder_elevation" in read_joints(tmp_path / "o" / "joints.csv").angles


def test_a_model_of_one_joint_has_none() -> None:
    capture = bodyfit.read_capture(DEMO).without("breastbone", "hand").between(0.0, 12.0)
    assert unmeasured_joints(capture) == ("r_shoulder", "r_radiocarpal")
    alone = dataclasses.replace(capture, model=bodyfit.read_model("right_elbow"))
    result = bodyfit.fit(alone)
    assert unmeasured_joints(alone) == () == result.inferred_joints
    assert set(result.joint_angles) == {"r_elbow"}
