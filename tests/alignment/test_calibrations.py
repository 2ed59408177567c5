"""Poses and movements that a capture declares: read, written back, refused, and used."""
# pyright: reportArgumentType=false, reportOptionalMemberAccess=false

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from capture_files import write_folder
from scipy.spatial.transform import Rotation
from scripted_motion import person, quiet, relative_deg, swung, with_units
from told import warned

import bodyfit
from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.joint_angles import joint_angles
from bodyfit.body.motion.poses import PoseSequence, held_pose
from bodyfit.errors import InputError
from bodyfit.files.model.model_file import model_names, read_model, write_model
from bodyfit.recording.capture import Calibration
from bodyfit.simulation.simulate import simulate

TWO = {"accelerometer", "gyroscope"}


def test_every_model_knows_poses_and_they_survive_writing(tmp_path):
    for name in model_names():
        model = read_model(name)
        write_model(model, tmp_path / "m.toml")
        assert read_model(tmp_path / "m.toml").poses == model.poses
        for pose in model.pose_names:
            assert set(held_pose(model, pose)) == set(model.segments)


def test_poses_are_what_their_names_say():
    """By hand: seated, thighs forward and calves down; arms forward, hands ahead, right palm to the left."""
    model = read_model("whole_body")
    down, palm = np.array([0, -1.0, 0]), np.array([1.0, 0, 0])
    seated, ahead = held_pose(model, "seated"), held_pose(model, "arms_forward")
    np.testing.assert_allclose(seated["r_thigh"] @ down, [1, 0, 0], atol=1e-12)
    np.testing.assert_allclose(seated["l_calf"] @ down, [0, -1, 0], atol=1e-12)
    np.testing.assert_allclose(ahead["r_hand"] @ down, [1, 0, 0], atol=1e-12)
    np.testing.assert_allclose(ahead["r_hand"] @ palm, [0, 0, -1], atol=1e-12)
    np.testing.assert_allclose(ahead["l_hand"] @ palm, [0, 0, 1], atol=1e-12)


def test_angles_of_a_pose_are_those_of_the_file():
    model = read_model("right_leg")
    at = held_pose(model, "seated")
    angles = joint_angles(model.joints["r_knee"], at["r_thigh"].T @ at["r_calf"])
    assert np.degrees(angles["flexion"]) == pytest.approx(90)


BAD = {
    'pose = "lying"': ".pose: found 'lying'",
    'joint = "r_knee"': 'only a calibration of kind "movement" has a joint',
}


@pytest.mark.parametrize(("line", "message"), BAD.items())
def test_a_wrong_key_of_a_calibration_is_refused_by_name(tmp_path, line, message):
    folder = write_folder(tmp_path)
    setup = folder / "setup.toml"
    text = setup.read_text() + f'\n[[calibration]]\nkind = "still"\nstart_s = 0.1\nend_s = 0.2\n{line}\n'
    setup.write_text(text)
    with pytest.raises(InputError) as caught:
        bodyfit.read_capture(folder)
    assert message in str(caught.value)


def in_metres(model: BodyModel) -> BodyModel:
    """The model with its joint centres measured, not scaled from a stature."""
    joints = {
        n: dataclasses.replace(j, centre_in_parent_of_stature=None, centre_in_child_of_stature=None)
        for n, j in model.joints.items()
    }
    return dataclasses.replace(model, joints=joints)


def seated_then_moving(wrong: bool = False) -> tuple:
    """A right leg seated for 3 s (or leaning by 35° while it says so), then swinging."""
    model = in_metres(person("right_leg"))
    poses = swung(model, 18.0)
    share = np.clip((poses.time - 3) / 2, 0, 1)[:, None, None]
    at = held_pose(model, "seated")
    lean = Rotation.from_euler("x", 35 if wrong else 0, degrees=True).as_matrix()
    rotations = {}
    for name, R in poses.rotations.items():
        held = lean @ at[name] if name == "r_calf" else at[name]
        off = (R * Rotation.from_matrix(held).inv()).as_rotvec() * share[:, 0]
        rotations[name] = Rotation.from_rotvec(off) * Rotation.from_matrix(held)
    motion = PoseSequence(poses.time, rotations, model, poses.root_position)
    still = (Calibration("still", 0.5, 2.5, "seated"),)
    made = simulate(motion, settings=quiet(mounting_spread=1.0), calibrations=still)
    return made, list(made.capture.units)


def test_mountings_come_from_a_seated_pose():
    """One mounting given; bias, noise and start headings leave some tenths, as for the neutral pose."""
    made, names = seated_then_moving()
    units = {n: dataclasses.replace(u, mounting=u.mounting if n == names[0] else None)
             for n, u in made.capture.units.items()}  # fmt: skip
    found = bodyfit.fit(with_units(made.capture, units), sensors=TWO)
    assert max(relative_deg(made.truth.model, found.rotations, made.truth.rotations).values()) < 3.5


def test_a_pose_that_a_unit_did_not_hold_is_reported_and_hardly_counts():
    made, _ = seated_then_moving(wrong=True)
    found = bodyfit.fit(made.capture, sensors=TWO)
    told = [w for w in warned(found) if "from how the unit stood in the pose" in w]
    assert told and "r_calf_unit" in told[0]
    off = Rotation.from_matrix(found.mounting["r_calf_unit"][0]) * made.units["r_calf_unit"].mounting.inv()
    assert np.degrees(off.magnitude()) < 5  # what a given mounting is usually off


def test_a_movement_of_one_joint_shows_how_its_units_sit():
    """Nothing else is known: the turn about the axis stays open and is named, the axis does not."""
    model = person("right_leg")
    poses = swung(model, 12.0)
    bend = Rotation.from_rotvec(-np.outer(0.6 - 0.6 * np.cos(2 * np.pi * 0.5 * poses.time), [0, 0, 1.0]))
    rotations = {**poses.rotations, "r_calf": poses.rotations["r_thigh"] * bend}
    motion = PoseSequence(poses.time, rotations, model, poses.root_position)
    made = simulate(
        motion, ["r_thigh", "r_calf"], quiet(mounting_spread=0.5),
        calibrations=(Calibration("movement", 2.0, 10.0, joint="r_knee"),),
    )  # fmt: skip
    units = {n: dataclasses.replace(u, mounting=None) for n, u in made.capture.units.items()}
    found = bodyfit.fit(with_units(made.capture, units), sensors=TWO)
    for name in units:
        seen = found.mounting[name][0] @ made.units[name].mounting.inv().apply([0, 0, 1.0])
        assert np.degrees(np.arccos(np.clip(seen @ [0, 0, 1.0], -1, 1))) < 3
        assert "movement" in found.summary.units[name].mounting_source
