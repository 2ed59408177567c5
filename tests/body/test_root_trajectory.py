"""The root's path from the standing foot, where geometry tells the true one."""
# pyright: reportOptionalSubscript=false, reportOptionalOperand=false, reportArgumentType=false

import dataclasses

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.body.motion.poses import from_joint_angles
from bodyfit.body.motion.root_trajectory import LOWEST, soles, with_root_path
from bodyfit.body.person import Person
from bodyfit.files.model.model_file import read_model

BODY = read_model("whole_body").scaled(Person(1.75, 70.0, "male"))
TIME = np.arange(0.0, 4.0, 0.01)
BENT = np.radians(30.0) * (1 - np.cos(0.5 * np.pi * TIME))  # to 60° and back, at rest at both ends


def squatting():
    """Hips, knees and ankles bend so that the feet stay flat."""
    angles = {}
    for side in "lr":
        angles |= {
            f"{side}_hip": {"flexion": 0.5 * BENT},
            f"{side}_knee": {"flexion": BENT},
            f"{side}_talocrural": {"dorsiflexion": 0.5 * BENT},
        }
    return from_joint_angles(BODY, TIME, angles)


def test_a_squat_lowers_the_root_by_what_the_legs_lose_and_leaves_the_soles_in_place():
    poses = with_root_path(squatting())
    places = soles(poses)
    np.testing.assert_allclose(places, np.broadcast_to(places[:1], places.shape), atol=2e-3)
    leg = sum(BODY.segments[f"r_{part}"].length for part in ("thigh", "calf"))
    sunk = poses.root_position[0, 1] - poses.root_position[:, 1].min()
    assert sunk == pytest.approx(leg * (1 - np.cos(np.radians(30.0))), abs=0.01)


def test_a_body_that_tips_forward_turns_about_its_balls():
    lean = np.radians(8.0) * (1 - np.cos(0.5 * np.pi * TIME))
    poses = with_root_path(
        from_joint_angles(BODY, TIME, {}, root_rotation=Rotation.from_rotvec(-lean[:, None] * [0, 0, 1]))
    )
    heel, ball = soles(poses)[:, 0], soles(poses)[:, 1]
    assert np.ptp(ball[:, 0]) < 0.005  # along the ground; in height a point stands up to LOWEST above another
    assert np.ptp(ball[:, 1]) < LOWEST < np.ptp(heel[:, 1])
    pivot = ball[0] - poses.root_position[0]
    turned = Rotation.from_rotvec(-lean[:, None] * [0, 0, 1]).apply(-pivot)
    np.testing.assert_allclose(poses.root_position - ball[0], turned, atol=LOWEST)


def test_it_starts_above_the_origin_with_the_lowest_sole_on_the_ground():
    poses = with_root_path(squatting())
    np.testing.assert_allclose(poses.root_position[0, [0, 2]], 0.0)
    assert soles(poses)[0, :, 1].min() == pytest.approx(0.0)


def test_the_body_stays_where_it_is_over_a_gap():
    poses = squatting()
    late = dataclasses.replace(poses, time=np.where(TIME > 1.0, TIME + 5.0, TIME))
    path = with_root_path(late).root_position
    after = int(np.flatnonzero(TIME > 1.0)[0])
    np.testing.assert_allclose(path[after], path[after - 1], atol=1e-12)


def test_a_body_without_feet_is_left_as_it_is():
    arm = read_model("right_arm").scaled(Person(1.75))
    poses = from_joint_angles(arm, TIME, {})
    assert with_root_path(poses) is poses
