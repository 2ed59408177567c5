"""A shoulder told by flexion, abduction and rotation: against scipy, and by what the words mean."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.body.motion.joint_angles import rotation_from_angles
from bodyfit.body.motion.joint_plots import _broken, joint_figure
from bodyfit.body.motion.reports import REPORTS, with_reports
from bodyfit.errors import InputError
from bodyfit.files.model.model_file import read_model

DEMO = Path(__file__).parents[2] / "demo_captures" / "cello_arm"
BODY = read_model("upper_body")
SHOULDERS = ("l_shoulder", "r_shoulder")


def told(word: str) -> bodyfit.BodyModel:
    return with_reports(BODY, dict.fromkeys(SHOULDERS, word))


def moved(word: str, count: int = 500) -> bodyfit.PoseSequence:
    """Arms turned any way."""
    rng = np.random.default_rng(0)
    turns = {name: Rotation.random(count, rng=rng) for name in BODY.segments}
    return bodyfit.PoseSequence(np.arange(count) / 100, turns, told(word))


@pytest.mark.parametrize("word", ["flexion", "abduction"])
@pytest.mark.parametrize("name", SHOULDERS)
def test_angles_are_those_of_scipy(name: str, word: str) -> None:
    """scipy.spatial.transform.Rotation.as_euler: capitals are intrinsic axes; signs by hand."""
    poses = moved(word)
    joint = poses.model.joints[name]
    between = poses.rotations[joint.parent].inv() * poses.rotations[joint.child]
    sequence, signs = {
        ("r", "flexion"): ("ZXY", (1, -1, 1)),
        ("l", "flexion"): ("ZXY", (1, 1, -1)),
        ("r", "abduction"): ("XZY", (-1, 1, 1)),
        ("l", "abduction"): ("XZY", (1, 1, -1)),
    }[name[0], word]
    raw = between.as_euler(sequence) * signs
    for number, angle in enumerate(joint.angles):
        np.testing.assert_allclose(poses.joint_angles[name][angle], raw[:, number], atol=1e-9)


@pytest.mark.parametrize("word", ["flexion", "abduction"])
@pytest.mark.parametrize("name", SHOULDERS)
def test_positive_is_forward_outwards_and_inwards(name: str, word: str) -> None:
    """Where the elbow goes (thorax: +X forward, +Y up, +Z right), and the hand of a bent forearm."""
    joint = told(word).joints[name]
    outwards = 1.0 if name == "r_shoulder" else -1.0
    turn = {angle: rotation_from_angles(joint, {angle: np.radians(30.0)}) for angle in joint.angles}
    down, forward = [0.0, -1.0, 0.0], [1.0, 0.0, 0.0]
    np.testing.assert_allclose(turn["flexion"].apply(down), [0.5, -(0.75**0.5), 0.0], atol=1e-12)
    np.testing.assert_allclose(turn["abduction"].apply(down), [0.0, -(0.75**0.5), outwards * 0.5], atol=1e-12)
    hand = turn["internal_rotation"].apply(forward)
    np.testing.assert_allclose(hand, [0.75**0.5, 0.0, -outwards * 0.5], atol=1e-12)


@pytest.mark.parametrize("word", ["flexion", "abduction"])
def test_poses_are_the_same_rotations(word: str) -> None:
    new = told(word)
    for pose, held in BODY.poses.items():
        for name in SHOULDERS:
            if name in held:
                before = rotation_from_angles(BODY.joints[name], held[name])
                after = rotation_from_angles(new.joints[name], new.poses[pose][name])
                assert (before.inv() * after).magnitude() < 1e-9
    assert new.poses["arms_forward"]["r_shoulder"]["flexion"] == pytest.approx(np.pi / 2)


def test_ranges_of_other_angles_are_not_kept() -> None:
    joint = told("flexion").joints["r_shoulder"]
    assert joint.range == {} and BODY.joints["r_shoulder"].range
    assert told("elevation").joints["r_shoulder"] is BODY.joints["r_shoulder"]


@pytest.fixture(scope="module")
def fits() -> dict[str, bodyfit.Fit]:
    capture = bodyfit.read_capture(DEMO).between(0.0, 12.0)
    return {
        word: bodyfit.fit(
            dataclasses.replace(capture, model=with_reports(capture.model, {"r_shoulder": word}))
        )
        for word in REPORTS["shoulder"]
    }


@pytest.mark.parametrize("word", ["flexion", "abduction"])
def test_the_motion_is_the_same_however_it_is_told(fits: dict[str, bodyfit.Fit], word: str) -> None:
    usual, other = fits["elevation"], fits[word]
    for name in usual.rotations:
        apart = (usual.rotations[name].inv() * other.rotations[name]).magnitude()
        assert np.degrees(apart.max()) < 1e-3
    assert other.summary.joints["r_shoulder"].sequence == REPORTS["shoulder"][word][0]
    assert set(other.summary.joints["r_shoulder"].angles) == {"flexion", "abduction", "internal_rotation"}


def test_a_hanging_arm_is_known_where_the_plane_of_elevation_is_not(fits: dict[str, bodyfit.Fit]) -> None:
    standing = slice(100, 250)  # the neutral pose is held, arms hanging
    plane = fits["elevation"].joint_angle_sd["r_shoulder"]["plane_of_elevation"][standing]  # type: ignore[index]
    flexion = fits["flexion"].joint_angle_sd["r_shoulder"]["flexion"][standing]  # type: ignore[index]
    assert np.degrees(plane).min() > 90.0
    assert np.degrees(flexion).max() < 20.0
    found = np.degrees(fits["flexion"].joint_angles["r_shoulder"]["flexion"][standing])
    assert np.abs(found).max() < 20.0


def test_a_fit_comes_back_with_its_report(fits: dict[str, bodyfit.Fit], tmp_path: Path) -> None:
    fits["flexion"].write(tmp_path)
    assert "r_shoulder_abduction_sd_deg" in (tmp_path / "joints.csv").read_text().partition("\n")[0]
    again = bodyfit.read_fit(tmp_path)
    assert again.poses.model.joints["r_shoulder"].sequence == "ZXY"
    assert again.summary == fits["flexion"].summary


SETUP = (DEMO / "setup.toml").read_text(encoding="utf-8")


def captured(folder: Path, more: str) -> bodyfit.Capture:
    for table in DEMO.glob("*.csv"):
        (folder / table.name).symlink_to(table)
    (folder / "setup.toml").write_text(f"{SETUP}\n{more}\n", encoding="utf-8")
    return bodyfit.read_capture(folder)


def test_a_capture_asks_for_it(tmp_path: Path) -> None:
    capture = captured(tmp_path, '[joints.r_shoulder]\nreport = "flexion"')
    assert capture.model.joints["r_shoulder"].angles == ("flexion", "abduction", "internal_rotation")


def test_a_body_model_asks_for_it(tmp_path: Path) -> None:
    text = (Path(__file__).parents[2] / "models" / "right_arm.toml").read_text(encoding="utf-8")
    changed = text.replace("[joints.r_shoulder] ", '[joints.r_shoulder]\nreport = "abduction" ', 1)
    (tmp_path / "mine.toml").write_text(changed, encoding="utf-8")
    model = read_model(tmp_path / "mine.toml")
    assert model.joints["r_shoulder"].sequence == "XZY"
    assert "abduction" in model.poses["arms_sideways"]["r_shoulder"]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (
            '[joints.r_shoulder]\nreport = "flexoin"',
            r"setup\.toml: joints\.r_shoulder\.report: found 'flexoin'",
        ),
        ('[joints.r_elbow]\nreport = "flexion"', r"joints\.r_elbow\.report: .*only l_shoulder, r_shoulder"),
        ('[joints.r_shuolder]\nreport = "flexion"', r"joints\.r_shuolder: no such joint .*r_shoulder"),
        ('[joints.r_shoulder]\nsequence = "ZXY"', r"joints\.r_shoulder.*sequence"),
    ],
)
def test_what_cannot_be_told_is_refused(more: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=said):
        captured(tmp_path, more)


def test_angles_of_ones_own_are_not_told_otherwise() -> None:
    joint = dataclasses.replace(BODY.joints["r_shoulder"], signs=(1, -1, 1))
    own = dataclasses.replace(BODY, joints={**BODY.joints, "r_shoulder": joint})
    with pytest.raises(InputError, match="expected one of the two"):
        with_reports(own, {"r_shoulder": "flexion"})


def test_sides_told_differently_are_drawn_apart() -> None:
    poses = moved("flexion", 50)
    mixed = dataclasses.replace(poses, model=with_reports(BODY, {"r_shoulder": "flexion"}))
    assert len(joint_figure(poses, SHOULDERS).axes) == 3
    assert len(joint_figure(mixed, SHOULDERS).axes) == 6


def test_a_curve_goes_on_past_half_a_turn() -> None:
    time, true = np.arange(200) / 100, np.linspace(0.0, 500.0, 200)
    wrapped = (true + 180.0) % 360.0 - 180.0
    _, drawn, _ = _broken(time, wrapped, np.full(200, 5.0))
    np.testing.assert_allclose(drawn, true, atol=1e-9)


def test_where_nobody_knows_which_way_it_passed_the_curve_starts_anew() -> None:
    time, true = np.arange(200) / 100, np.linspace(0.0, 700.0, 200)
    wrapped = (true + 180.0) % 360.0 - 180.0
    half = np.where(true > 300.0, 120.0, 5.0)  # at the second pass only
    at, drawn, band = _broken(time, wrapped, half)
    assert band is not None and np.isnan(drawn).sum() == np.isnan(band).sum() == 1
    kept = ~np.isnan(drawn)
    np.testing.assert_allclose(drawn[kept], np.where(true < 540.0, true, true - 720.0), atol=1e-9)
    assert len(at) == 201
