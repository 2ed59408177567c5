"""Segment lengths: scaled, measured, read from files, and shown by the motion."""
# numbers that may be unknown (None) are known in these models
# pyright: reportOptionalMemberAccess=false, reportOptionalSubscript=false, reportOperatorIssue=false
# pyright: reportArgumentType=false, reportCallIssue=false

from __future__ import annotations

import dataclasses
import json
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from capture_files import write_folder
from scipy.spatial.transform import Rotation
from scripted_motion import PERSON, simulated
from told import warned

import bodyfit
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.person import Person
from bodyfit.errors import InputError
from bodyfit.files.capture.folder import read_capture
from bodyfit.files.capture.writer import write_capture
from bodyfit.files.model.model_file import read_model
from bodyfit.fitting.body_size.findings import length_findings
from bodyfit.fitting.body_size.from_motion import _norm
from bodyfit.fitting.body_size.fuse import body_size
from bodyfit.fitting.body_size.length import MEASURED_SD, Length, fused
from bodyfit.results.summary import SegmentFigures

LIMBS = ("l_thigh", "r_thigh", "l_calf", "r_calf")
TWO = frozenset({"accelerometer", "gyroscope"})


# ---- scaling ----


def test_a_measured_length_moves_all_that_lies_in_the_segments_frame_and_nothing_else():
    tall = read_model("lower_body").scaled(Person(1.80, 70.0, "male"))
    own = read_model("lower_body").scaled(Person(1.80, 70.0, "male", {"r_thigh": 0.40}))
    ratio = 0.40 / tall.segments["r_thigh"].length
    assert own.segments["r_thigh"].length == pytest.approx(0.40)
    np.testing.assert_allclose(own.joints["r_knee"].centre_in_parent, [0, -0.40, 0], atol=1e-12)
    np.testing.assert_allclose(own.segments["r_thigh"].com, ratio * tall.segments["r_thigh"].com)
    np.testing.assert_allclose(own.segments["r_thigh"].inertia, ratio**2 * tall.segments["r_thigh"].inertia)
    assert own.segments["r_thigh"].mass == tall.segments["r_thigh"].mass
    assert own.segments["l_thigh"].length == tall.segments["l_thigh"].length
    np.testing.assert_array_equal(own.joints["r_hip"].centre_in_parent, tall.joints["r_hip"].centre_in_parent)


def test_a_body_resized_afterwards_is_the_same_as_one_scaled_with_the_length():
    own = read_model("lower_body").scaled(Person(1.80, 70.0, "male", {"r_thigh": 0.40}))
    later = read_model("lower_body").scaled(Person(1.80, 70.0, "male")).resized({"r_thigh": 0.40})
    for mine, theirs in zip(later.segments.values(), own.segments.values(), strict=True):
        np.testing.assert_allclose(mine.com, theirs.com)
        np.testing.assert_allclose(mine.inertia, theirs.inertia)
    for mine, theirs in zip(later.joints.values(), own.joints.values(), strict=True):
        np.testing.assert_allclose(mine.centre_in_parent, theirs.centre_in_parent)
        np.testing.assert_allclose(mine.centre_in_child, theirs.centre_in_child)


def test_measured_lengths_are_enough_without_a_stature():
    model = read_model("right_leg").scaled(Person(lengths_m={"r_thigh": 0.41, "pelvis": 0.15}))
    np.testing.assert_allclose(model.joints["r_knee"].centre_in_parent, [0, -0.41, 0], atol=1e-12)
    breadth = 0.0497 / np.mean([0.0837, 0.1046]) * 0.15  # the hip goes with the pelvis
    np.testing.assert_allclose(model.joints["r_hip"].centre_in_parent, [0, 0, breadth], atol=1e-12)
    assert model.joints["r_talocrural"].centre_in_parent is None


def test_a_segment_of_unknown_shape_takes_the_length_alone():
    model = read_model("right_leg").scaled().resized({"r_thigh": 0.4})
    assert model.segments["r_thigh"].length == 0.4
    assert model.joints["r_knee"].centre_in_parent is None


def test_lengths_that_no_body_has_are_refused():
    with pytest.raises(
        InputError,
        match=r"person\.lengths_m\.r_thigh: found 41, expected 0\.02 to 1\.2 m; give the distance",
    ):
        Person(lengths_m={"r_thigh": 41})
    with pytest.raises(InputError, match=r"person\.lengths_m: .*no segment 'r_tigh'.*did you mean 'r_thigh'"):
        read_model("right_leg").scaled(Person(lengths_m={"r_tigh": 0.41}))


# ---- files ----

LENGTHS = ('sex = "female"\n', 'sex = "female"\n[person.lengths_m]\nsource = "tape"\nr_calf = 0.38\n')


def test_lengths_are_read_and_written_back(tmp_path):
    (tmp_path / "in").mkdir()
    capture = read_capture(write_folder(tmp_path / "in", setup=[LENGTHS]))
    assert capture.person == Person(1.72, 64, "female", {"r_calf": 0.38})
    write_capture(capture, tmp_path / "out")
    assert read_capture(tmp_path / "out").person == capture.person


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("r_cafl = 0.38", r"person\.lengths_m\.r_cafl: unknown key 'r_cafl'.*did you mean 'r_calf'"),
        ('r_calf = "long"', r"person\.lengths_m\.r_calf: found 'long'; expected metres between"),
        ("r_calf = -0.3", r"person\.lengths_m\.r_calf: found -0\.3; expected metres between"),
        ("r_calf = 38.0", r"setup\.toml: person\.lengths_m\.r_calf: found 38, expected 0\.02 to 1\.2 m"),
    ],
)
def test_wrong_lengths_in_a_file_are_named(tmp_path, line, message):
    with pytest.raises(InputError, match=message):
        read_capture(write_folder(tmp_path, setup=[(LENGTHS[0], LENGTHS[1].replace("r_calf = 0.38", line))]))


# ---- fusing ----


def test_two_lengths_are_weighted_by_precision():
    """Worked by hand: precisions 1 and 4 (per cm²) of 40 and 42 cm give 41.6 cm, SD 1/√5 cm."""
    length = fused([Length(0.40, 0.01), Length(0.42, 0.005)])
    assert length.value == pytest.approx(0.416)
    assert length.sd == pytest.approx(0.01 / np.sqrt(5))


def test_standard_deviation_of_a_distance_is_what_drawing_arms_shows(monkeypatch):
    monkeypatch.setattr("bodyfit.fitting.body_size.from_motion.MOTION_SD", 0.0)
    rng = np.random.default_rng(4)
    root = rng.normal(size=(3, 3))
    d, S = np.array([0.1, -0.35, 0.05]), 2e-5 * root @ root.T
    drawn = np.linalg.norm(rng.multivariate_normal(d, S, 200_000), axis=1)
    off = np.sqrt(np.mean((drawn - np.linalg.norm(d)) ** 2))
    assert _norm(d, S).sd == pytest.approx(off, rel=0.02)


def test_what_is_known_without_a_motion():
    person = Person(1.80, None, "male", {"r_thigh": 0.41})
    size = body_size(read_model("right_leg").scaled(person), person).figures()
    assert size["r_thigh"] == SegmentFigures(0.41, MEASURED_SD, "measured")
    assert size["r_calf"].length_m == pytest.approx(0.2529 * 1.80, abs=1e-4)  # de Leva's share
    assert size["r_calf"].length_source == "stature"
    assert body_size(read_model("right_leg").scaled(), None).figures() == {}


def test_a_tape_measure_far_from_the_stature_is_reported():
    person = Person(1.80, None, "male", {"r_thigh": 0.30})
    (finding,) = body_size(read_model("right_leg").scaled(person), person).findings
    assert (finding.kind, finding.segments) == ("length-disagrees", ("r_thigh",))
    assert "30.0 cm by the tape measure" in finding.what
    assert finding.value == pytest.approx(13.65, abs=0.01)  # 0.2425 × 180 − 30


def test_joint_centres_that_no_such_person_has_are_reported():
    """Knee to ankle 637 mm in a man of 1.78 m, whose shank is 450 mm long (de Leva's share)."""
    person = Person(1.78, None, "male")
    model = read_model("lower_body").scaled(person)
    right = {name: Length(model.segments[name].length, 0.02) for name in ("l_thigh", "r_thigh", "r_calf")}
    (finding,) = length_findings(model, person, {**right, "l_calf": Length(0.637, 0.02)})
    assert (finding.kind, finding.severity) == ("length-disagrees", "warning")
    assert finding.segments == ("l_calf",) and "63.7 cm by the motion" in finding.what
    assert finding.value == pytest.approx(63.7 - 45.0, abs=0.1)
    assert length_findings(model, person, {**right, "l_calf": Length(0.46, 0.02)}) == ()


# ---- the motion ----


@cache
def fitted(factor: float, measured: tuple[str, ...] = ()) -> bodyfit.Fit:
    """A lower body fitted with a wrong stature, some lengths measured right."""
    made = simulated("lower_body")
    lengths = {name: made.truth.model.segments[name].length for name in measured}
    person = dataclasses.replace(PERSON, stature_m=factor * PERSON.stature_m, lengths_m=lengths)
    capture = dataclasses.replace(made.capture, model=read_model("lower_body"), person=person)
    return bodyfit.fit(capture, sensors=TWO)


@pytest.mark.parametrize("factor", [0.92, 1.08])
def test_a_wrong_stature_is_pulled_towards_the_truth(factor):
    """Half of the 8 % or more is gone, the rest lies within the standard deviation that is stated."""
    found, true = fitted(factor).summary.segments, simulated("lower_body").truth.model.segments
    for name in LIMBS:
        assert found[name].length_source == "stature and motion"
        off = abs(found[name].length_m - true[name].length)
        assert off < 0.5 * abs(factor - 1) * true[name].length
        assert off < 2 * found[name].length_sd_m
    assert found["r_hindfoot"].length_source == "stature"


@pytest.mark.parametrize("factor", [0.92, 1.08])
def test_positions_come_nearer_with_the_lengths(factor):
    fit, truth = fitted(factor), simulated("lower_body").truth
    person = dataclasses.replace(PERSON, stature_m=factor * PERSON.stature_m)
    stated = PoseSequence(fit.time, fit.rotations, read_model("lower_body").scaled(person))
    true = PoseSequence(truth.time, truth.rotations, truth.model)

    def ankle_off(poses):
        at = poses.rotations["pelvis"].inv().apply(poses.positions["r_hindfoot"] - poses.positions["pelvis"])
        wanted = true.rotations["pelvis"].inv().apply(true.positions["r_hindfoot"])
        wanted = np.stack([np.interp(fit.time, truth.time, column) for column in wanted.T], 1)
        return np.sqrt(np.mean(np.sum((at - wanted) ** 2, -1)))

    moved = ankle_off(PoseSequence(fit.time, fit.rotations, fit.poses.model))
    assert moved < 0.6 * ankle_off(stated)


def test_a_measured_length_counts_more_than_a_stature():
    found = fitted(0.92, LIMBS).summary.segments["r_thigh"]
    true = simulated("lower_body").truth.model.segments["r_thigh"].length
    assert found.length_source == "measured and motion"
    assert found.length_m == pytest.approx(true, abs=MEASURED_SD / 2)
    assert found.length_sd_m < MEASURED_SD
    levers = [
        fit.summary.joints["r_knee"].centre.lever_arm_sd_m for fit in (fitted(0.92, LIMBS), fitted(0.92))
    ]
    assert np.linalg.norm(levers[0]) < np.linalg.norm(levers[1])


def test_a_stature_of_another_person_is_reported():
    warnings = warned(fitted(0.7))
    (said,) = [text for text in warnings if "stature of 1.22 m" in text]
    assert "4 segments are on average" in said
    assert not any("stature of" in text for text in warned(fitted(1.0)))


def test_each_unit_alone_keeps_the_stature(recordings):
    made = simulated("lower_body")
    fit = bodyfit.fit(made.capture, sensors=TWO, alone=True)
    assert {"model", "stature"} >= {s.length_source for s in fit.summary.segments.values()}


DEMOS = Path(__file__).resolve().parents[2] / "demo_captures"


def test_lengths_and_joint_centres_that_soft_tissue_feigns_are_not_believed():
    """On the stairs soft tissue makes the left calf's arms 64 cm apart, half of it sideways; it is 45 cm."""
    capture = read_capture(DEMOS / "steel_stairs")
    assert capture.person is not None
    summary = bodyfit.fit(capture, sensors=TWO).summary
    true = capture.model.scaled(capture.person).segments  # the invented person is like the model
    assert summary.segments["l_calf"].length_source == "stature"
    for name, length in summary.segments.items():
        assert length.length_m == pytest.approx(true[name].length, abs=length.length_sd_m)

    truth = json.loads((DEMOS / "steel_stairs" / "truth" / "truth.json").read_text())
    worn = {unit["segment"]: unit for unit in truth["units"].values()}
    off = []
    for name, joint in summary.joints.items():
        centres = truth["joint_centres_in_parent_m"][name], np.zeros(3)
        found = joint.centre.lever_arm_parent_m, joint.centre.lever_arm_child_m
        for centre, arm, segment in zip(centres, found, (joint.parent, joint.child), strict=True):
            R = Rotation.from_quat(worn[segment]["segment_from_unit"])
            off.append(np.subtract(arm, R.inv().apply(np.subtract(centre, worn[segment]["position_m"]))))
    sd = np.reshape([joint.centre.lever_arm_sd_m for joint in summary.joints.values()], (-1, 3))
    assert np.mean(np.abs(off) < 1.96 * sd) > 0.9
    assert np.max(np.abs(off) / sd) < 4


def centres_by_markers(folder, joint):
    """The centre of a joint of the chain in both segments by the optical markers, by least squares.

    o_p + R_p c_p = o_c + R_c c_c at all times (symmetrical centre of rotation; Ehrig et al. 2006,
    doi:10.1016/j.jbiomech.2005.10.002, from memory), o the mean of a segment's markers.
    """
    table, markers, sides = pd.read_csv(folder / "reference.csv"), None, []
    markers = pd.read_csv(folder / "reference_markers.csv")
    for name in (f"segment_{joint}", f"segment_{joint + 1}"):
        q = table[[f"{name}_q{axis}" for axis in "xyzw"]].to_numpy(float)
        at = [markers[[f"{name}_marker{k}_{axis}" for axis in "xyz"]].to_numpy(float) for k in (1, 2, 3, 4)]
        sides.append((q, np.mean(at, axis=0)))
    ok = np.isfinite(np.concatenate([part for side in sides for part in side], 1)).all(1)
    R = [Rotation.from_quat(q[ok]).as_matrix() for q, _ in sides]
    A = np.concatenate([R[0], -R[1]], -1).reshape(-1, 6)
    centres = np.linalg.lstsq(A, (sides[1][1] - sides[0][1])[ok].ravel())[0]
    return centres[:3], centres[3:]


def test_lengths_of_the_chain_are_those_between_its_optical_markers(recordings):
    """Three segments of 27 to 29 cm, whose model holds no length; markers agree at the joints to 1 mm."""
    fit = bodyfit.fit(read_capture(recordings / "chain_rigid"), sensors=TWO)
    centres = [centres_by_markers(recordings / "chain_rigid", joint) for joint in (1, 2, 3, 4)]
    for i in (2, 3, 4):
        true = np.linalg.norm(centres[i - 1][0] - centres[i - 2][1])
        found = fit.summary.segments[f"segment_{i}"]
        assert found.length_source == "motion"
        assert found.length_m == pytest.approx(true, abs=0.015)
        assert found.length_m == pytest.approx(true, abs=2 * found.length_sd_m)
    assert "segment_1" not in fit.summary.segments


@pytest.mark.parametrize("joint", ["r_elbow", "r_radiocarpal"])
def test_joints_at_one_place_show_no_length_of_the_segment_between_them(joint):
    capture = simulated().capture
    at_one = dataclasses.replace(
        capture.model.joints[joint], centre_in_parent=np.zeros(3), centre_in_parent_of_stature=None
    )
    model = dataclasses.replace(capture.model, joints={**capture.model.joints, joint: at_one})
    result = bodyfit.fit(dataclasses.replace(capture, model=model))
    told = {name: segment.length_source for name, segment in result.summary.segments.items()}
    limb = {"r_upperarm": "model and motion", "r_forearm": "model and motion"} | {at_one.parent: "model"}
    assert told == {"thorax": "model", "r_hand": "model", **limb}
