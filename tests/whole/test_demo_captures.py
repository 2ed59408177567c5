"""The demo captures: readable, small, plausible, and made by the committed script."""
# pyright: reportOptionalSubscript=false, reportArgumentType=false, reportCallIssue=false

import importlib.util
import json
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.body.motion.poses import PoseSequence
from bodyfit.files.capture.folder import read_capture
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion

FOLDER = Path(__file__).resolve().parents[2] / "demo_captures"
DEMOS = {
    "cello_arm": (4, 60, "right_arm"),
    "steel_stairs": (7, 90, "lower_body"),
    "library_bench": (7, 60, "lower_body"),
    "parcel_lift": (15, 60, "whole_body"),
}


def truth(name):
    capture = read_capture(FOLDER / name)
    return read_motion(FOLDER / name / "truth" / "segments.csv.gz", capture.model, capture.person)


@pytest.fixture
def script(monkeypatch):
    """The script that makes the demos, as a module."""
    spec = importlib.util.spec_from_file_location("make_demo_captures", FOLDER / "make_demo_captures.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, "make_demo_captures", module)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", DEMOS)
def test_demo_holds_what_its_readme_says(name):
    units, seconds, model = DEMOS[name]
    capture = read_capture(FOLDER / name)
    assert (len(capture.units), capture.model.name) == (units, model)
    for unit in capture.units.values():
        assert unit.time[-1] - unit.time[0] == pytest.approx(seconds, abs=0.2)
        assert unit.sensors == {"accelerometer", "gyroscope", "magnetometer"}
        assert unit.segment in capture.model.segments
        assert (unit.mounting is None) == (unit.name != "breastbone")
    readme = (FOLDER / name / "README.md").read_text()
    assert f"{units} units, {seconds} s" in readme
    assert "Invented" in readme


def test_demos_are_small_together():
    assert sum(p.stat().st_size for p in FOLDER.rglob("*") if p.is_file()) < 15e6


@pytest.mark.parametrize("name", DEMOS)
def test_demo_starts_still_in_the_neutral_pose_as_people_hold_it(name, script):
    """They sway by less than 2°, and are off the pose by less than four of the standard deviations cited.

    Somewhere by over 3°: when all segments stood within that, bands were three to ten times too wide.
    """
    calibration = read_capture(FOLDER / name).calibrations[0]
    poses, off = truth(name), []
    still = (poses.time > calibration.start) & (poses.time < calibration.end)
    for segment, rotation in poses.rotations.items():
        held, spread = rotation[still].mean(), np.degrees(script.standing_sd(segment))
        assert np.degrees((held.inv() * rotation[still]).magnitude().max()) < 2.0, segment
        off.append(np.degrees(np.abs(held.as_rotvec())))
        assert np.all(off[-1] < 4 * spread + 2.0), segment
    assert np.max(off) > 3.0


def test_people_stand_off_by_what_is_cited_and_move_on_as_scripted(script):
    """Woodhull et al. 1985, doi:10.1007/BF00426309: knee ahead of the ankle, SD 2.0 cm, on 43 cm of shank."""
    model = read_model("lower_body").scaled(script.CLIMBER)
    time = np.arange(0.0, 8.0, 0.5)
    upright = {name: Rotation.identity(len(time)) for name in model.segments}
    poses = PoseSequence(time, upright, model, np.zeros((len(time), 3)))
    rng, leaves = np.random.default_rng(3), script.Leaves.by_steps((4.0, 5.0), 4.5, 0.5)
    drawn = [script.as_people_stand(rng, poses, leaves) for _ in range(400)]
    off = {n: np.array([d.rotations[n].as_rotvec()[0] for d in drawn]) for n in model.segments}
    assert np.degrees(off["l_thigh"].std(axis=0)[2]) == pytest.approx(
        np.degrees(np.arctan(2.0 / 43)), rel=0.1
    )
    assert np.degrees(off["l_hindfoot"].std(axis=0)) == pytest.approx([2.7, 10.0, 0.0], rel=0.1)
    for one in drawn:
        for joint in model.joints.values():
            for angle, (low, high) in joint.range.items():
                assert low - 1e-9 <= one.joint_angles[joint.name][angle][0] <= high + 1e-9
        for segment, rotation in one.rotations.items():
            assert rotation[:8].approx_equal(rotation[0], 1e-9).all(), segment  # up to 3.5 s
            assert rotation[-4:].approx_equal(Rotation.identity(), 1e-9).all(), segment  # from 6 s


@pytest.mark.parametrize("name", DEMOS)
def test_demo_stays_within_the_published_ranges(name):
    poses = truth(name)
    for joint in poses.model.joints.values():
        for angle, (low, high) in joint.range.items():
            value = np.degrees(poses.joint_angles[joint.name][angle])
            assert np.degrees(low) - 5 < value.min(), (joint.name, angle)
            assert value.max() < np.degrees(high) + 5, (joint.name, angle)


@pytest.mark.parametrize("name", ["steel_stairs", "library_bench", "parcel_lift"])
def test_feet_alternate_and_stay_above_the_floor(name):
    poses = truth(name)
    heights, speeds = {}, {}
    for side in "lr":
        ankle, rotation = poses.positions[f"{side}_hindfoot"], poses.rotations[f"{side}_hindfoot"]
        heel = ankle + rotation.apply([-0.06, -0.055, 0.0])
        heights[side] = min(heel[:, 1].min(), ankle[:, 1].min())
        speeds[side] = np.linalg.norm(np.gradient(ankle, poses.time, axis=0), axis=1)
    assert min(heights.values()) > -0.03
    both_swing = (speeds["l"] > 1.0) & (speeds["r"] > 1.0)
    one_swings = (speeds["l"] > 1.0) ^ (speeds["r"] > 1.0)
    assert one_swings.mean() > 0.1
    assert both_swing.mean() < 0.02
    assert np.degrees(poses.joint_angles["l_knee"]["flexion"]).max() > 60  # knees bend backwards


def test_stairs_bend_the_field():
    told = json.loads((FOLDER / "steel_stairs" / "truth" / "truth.json").read_text())
    units = read_capture(FOLDER / "steel_stairs").units
    norm = np.linalg.norm(units["r_hindfoot_unit"].magnetometer, axis=1)
    assert np.ptp(norm) > 0.2 * told["magnetic_field"]["norm"]


@pytest.mark.parametrize("name", ["cello_arm", "library_bench"])
def test_script_makes_the_committed_capture(tmp_path, monkeypatch, name, script):
    monkeypatch.setattr(script, "HERE", tmp_path)
    script.make(name)
    made, kept = read_capture(tmp_path / name), read_capture(FOLDER / name)
    for worn, unit in kept.units.items():
        assert made.units[worn].gyroscope == pytest.approx(unit.gyroscope, abs=1e-4)
        assert made.units[worn].accelerometer == pytest.approx(unit.accelerometer, abs=1e-2)
    setups = [(folder / name / "setup.toml").read_text() for folder in (tmp_path, FOLDER)]
    assert setups[0] == setups[1]
