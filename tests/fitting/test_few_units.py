"""The study of bodies with fewer units than segments: its scores are what they say."""

import dataclasses
import importlib
import math
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from example_summary import summary
from pinocchio_poses import through_pinocchio
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation
from scipy.stats import norm
from scripted_motion import person, swung

import bodyfit
from bodyfit.body.motion.poses import PoseSequence, from_joint_angles, held_pose
from bodyfit.estimator.uncertainty.segments import SegmentSureness

DOCS = Path(__file__).resolve().parents[2] / "docs"
SECONDS = 24.0
SPREAD = math.radians(4.0)


@pytest.fixture(scope="module")
def few():
    sys.path.insert(0, str(DOCS))
    yield importlib.import_module("few_units")
    sys.path.remove(str(DOCS))


@cache
def truth() -> PoseSequence:
    return swung(person("right_leg"), SECONDS)


def turned(poses: PoseSequence, **turns: Rotation) -> PoseSequence:
    """The motion with some segments turned further, world frame."""
    rotations = {name: turns.get(name, Rotation.identity()) * R for name, R in poses.rotations.items()}
    return dataclasses.replace(poses, rotations=rotations)


def test_common_heading_is_the_turn_that_brings_two_motions_closest(few):
    rng = np.random.default_rng(0)
    off = {
        s: Rotation.from_rotvec(0.4 * rng.standard_normal((len(truth().time), 3))) for s in truth().rotations
    }
    turn = Rotation.from_euler("Y", 2.2)
    found = turned(turned(truth(), **off), **dict.fromkeys(off, turn)).rotations

    def squares(angle: float) -> float:
        back = Rotation.from_euler("Y", -angle)
        chords = [(back * found[s] * truth().rotations[s].inv()).as_matrix() - np.eye(3) for s in found]
        return float(np.sum(np.square(chords)))

    best = minimize_scalar(squares, bounds=(1.0, 3.5), method="bounded", options={"xatol": 1e-9})  # scipy
    assert few.common_heading(found, truth().rotations) == pytest.approx(best.x, abs=1e-6)  # type: ignore


def test_a_constant_heading_of_the_whole_body_is_no_error(few):
    everywhere = dict.fromkeys(truth().rotations, Rotation.from_euler("Y", -1.0))
    errors = few.errors_of(turned(truth(), **everywhere), truth())
    assert errors.offset == pytest.approx(-1.0)
    for part in (errors.turn, errors.place, errors.on_true_body):
        assert max(np.abs(values).max() for values in part.values()) < 1e-6


def test_a_tilted_segment_counts_its_angle_and_moves_what_hangs_on_it(few):
    tilt, poses = math.radians(20.0), truth()
    axis = poses.rotations["r_thigh"].apply([1.0, 0.0, 0.0])
    tilted = turned(poses, r_thigh=Rotation.from_rotvec(tilt * axis))
    errors = few.errors_of(tilted, poses)
    back = Rotation.from_euler("Y", -errors.offset)
    assert np.allclose(errors.turn["pelvis"], abs(errors.offset), atol=1e-6)
    places, _, _ = through_pinocchio(tilted)  # positions of an outside library
    true, _, _ = through_pinocchio(poses)
    ok = few.counted(poses, poses.time)
    for name, error in errors.place.items():
        arms = [p[name] - p["pelvis"] for p in (places, true)]
        assert np.allclose(error, np.linalg.norm(back.apply(arms[0]) - arms[1], axis=1)[ok], atol=1e-9)
    thigh = -poses.model.joints["r_knee"].centre_in_parent[1]  # type: ignore[index]
    chord = 2 * thigh * math.sin(tilt / 2)
    assert errors.place["r_calf"].mean() == pytest.approx(chord, rel=0.05)


def test_lengths_count_only_as_fitted(few):
    short = dataclasses.replace(truth(), model=person("right_leg").resized({"r_thigh": 0.3}))
    errors = few.errors_of(short, truth())
    missing = float(person("right_leg").segments["r_thigh"].length or 0.0) - 0.3
    assert np.allclose(errors.place["r_calf"], missing, atol=1e-6)
    assert max(values.max() for values in errors.on_true_body.values()) < 1e-9


def fit_of(poses: PoseSequence, angle_sd: float, segment_sd: float) -> bodyfit.Fit:
    count = len(poses.time)
    angles = {
        name: dict.fromkeys(joint.angles, np.full(count, angle_sd))
        for name, joint in poses.model.joints.items()
    }
    sd = SegmentSureness(np.full(count, segment_sd), np.full(count, segment_sd))
    return bodyfit.Fit(poses, summary(poses), angles, segment_sd=dict.fromkeys(poses.model.segments, sd))


@pytest.mark.parametrize("sure", [1.0, 0.5])
def test_bands_hold_what_a_normal_error_leaves_inside(few, sure):
    rng = np.random.default_rng(1)
    off = Rotation.from_rotvec(SPREAD * rng.standard_normal((len(truth().time), 3)))
    score = few.score(fit_of(turned(truth(), r_calf=off), 1.0, sure * SPREAD), truth(), ["pelvis", "r_thigh"])
    expected = 2 * norm.cdf(few.BAND * sure) - 1  # scipy
    # the foot carries no unit either, and is not off at all
    assert score.heading.share == pytest.approx((expected + 1) / 2, abs=0.015)
    assert score.tilt.share == pytest.approx((expected + 1) / 2, abs=0.015)
    assert score.worn_heading.share == score.worn_tilt.share == 1.0
    assert score.tilt.half_deg == pytest.approx(few.BAND * sure * 4.0)


def test_what_is_expected_is_what_normal_errors_come_to(few):
    """The covariance's own root mean square is that of errors drawn from it; a lost heading is anywhere."""
    rng = np.random.default_rng(3)
    off = {
        name: Rotation.from_rotvec(SPREAD * rng.standard_normal((len(truth().time), 3)))
        for name in truth().rotations
    }
    score = few.score(fit_of(turned(truth(), **off), 1.0, SPREAD), truth(), ["pelvis"])
    assert score.expected_deg == pytest.approx(score.turn_deg(squared=True), rel=0.03)
    nowhere = few.turn_variance(SegmentSureness(np.array([50.0]), np.array([0.0])))
    anywhere = np.radians(rng.uniform(-180.0, 180.0, 100_000))
    assert nowhere[0] == pytest.approx(anywhere.var(), rel=0.02)


def test_only_joints_next_to_a_segment_without_a_unit_count(few):
    poses, rng = truth(), np.random.default_rng(2)
    angles = {joint: dict(by_angle) for joint, by_angle in poses.joint_angles.items()}
    angles["r_hip"]["flexion"] = angles["r_hip"]["flexion"] + 1.0  # both ends carry a unit
    for angle in angles["r_knee"]:
        angles["r_knee"][angle] = angles["r_knee"][angle] + SPREAD * rng.standard_normal(len(poses.time))
    found = from_joint_angles(poses.model, poses.time, angles, poses.rotations["pelvis"], poses.root_position)
    share = few.score(fit_of(found, SPREAD, 1.0), poses, ["pelvis", "r_thigh", "r_hindfoot"]).angles.share
    assert share == pytest.approx((norm.cdf(few.BAND) * 2 - 1 + 1) / 2, abs=0.015)  # knee, and a right ankle


def test_the_nearest_units_are_the_fewest_joints_away(few):
    model = person("whole_body")
    near = {name: few.nearest(name, few.SIX, model) for name in model.segments}
    assert near["thorax"] == ["pelvis", "skull"]
    assert near["l_thigh"] == ["l_calf", "pelvis"]
    assert near["r_upperarm"] == near["r_hand"] == ["r_forearm"]
    assert near["l_hindfoot"] == near["l_calf"] == ["l_calf"]


def test_a_motion_starts_in_the_neutral_pose_and_goes_on_smoothly(few):
    recorded = swung(person("whole_body"), 4.0)
    poses = few.after_neutral(recorded, seed=0)
    start = few.HOLD_S + few.PASS_S
    kept = poses.time >= start - 1e-9
    neutral = held_pose(recorded.model, "neutral")
    facing = Rotation.from_euler("Y", few._heading(poses.rotations["pelvis"][0]))
    for name, R in poses.rotations.items():
        assert (R[kept].inv() * recorded.rotations[name]).magnitude().max() < 1e-9
        off = (facing * Rotation.from_matrix(neutral[name])).inv() * R[poses.time < few.HOLD_S - 0.01]
        assert np.degrees(off.magnitude()).max() < 40.0  # 10° held, 4 standard deviations
        assert (off[0].inv() * off).magnitude().max() < 1e-9  # still
        step = (R[:-1].inv() * R[1:]).as_rotvec() / np.diff(poses.time)[:, None]
        assert np.abs(np.diff(step, axis=0)).max() < 0.6  # rad/s: no jump in speed
    path = poses.root_position
    assert path is not None and recorded.root_position is not None
    assert np.allclose(path[kept], recorded.root_position)
    assert np.abs(np.diff(path, 2, axis=0)).max() * 100.0**2 < 15.0  # m/s²
