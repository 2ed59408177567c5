"""Mounting: from the neutral pose, from what is given, and from joint axes where the pose is only assumed."""
# pyright: reportArgumentType=false, reportCallIssue=false

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.mounting import FlexionAxis, calibrate_mounting, heading_of, mean_rotation, still_pose
from bodyfit.rotations import heading_matrix

TIME = np.arange(0, 10, 0.1)
POSE = (2.0, 4.0)
RIGHT = np.array([0.0, 0.0, 1.0])
MOUNTINGS = Rotation.random(3, random_state=5)  # segment_from_unit of three units


def worn(heading: float, noise: float = 0.0) -> np.ndarray:
    """World-from-unit: standing neutral from 2 to 4 s facing `heading`, anything else before and after."""
    rng = np.random.default_rng(0)
    segments = Rotation.random(len(TIME) * 3, random_state=1).as_matrix().reshape(-1, 3, 3, 3)
    shaken = (
        Rotation.from_rotvec(noise * rng.normal(size=(len(TIME) * 3, 3))).as_matrix().reshape(-1, 3, 3, 3)
    )
    inside = (POSE[0] <= TIME) & (POSE[1] >= TIME)
    segments[inside] = heading_matrix(heading) @ shaken[inside]
    return segments @ MOUNTINGS.as_matrix()


def degrees_off(found: np.ndarray, true: Rotation = MOUNTINGS) -> np.ndarray:
    return np.degrees((Rotation.from_matrix(found) * true.inv()).magnitude())


def flexion(sign: float = 1.0, signed: bool = True, units=(0, 1)) -> FlexionAxis:
    """The axis to the right in the segments, as the units see it."""
    seen = np.stack([MOUNTINGS[u].inv().apply(sign * RIGHT) for u in units])
    return FlexionAxis(units, seen, RIGHT, signed)


# ---- the pose ----


def test_still_pose_is_the_first_calm_half_second():
    rate = np.ones((100, 2))
    rate[30:45], rate[70:90] = 0.02, 0.0
    start, end = still_pose(TIME, rate)
    assert end - start == pytest.approx(0.5)
    assert start >= 2.95 - 1e-9 and end <= 4.45  # keyframes stand for ± 0.05 s


def test_still_pose_needs_every_unit_to_be_still():
    rate = np.ones((100, 2))
    rate[20:40, 0], rate[60:80, 1], rate[85:95] = 0.0, 0.0, 0.0
    start, end = still_pose(TIME, rate)
    assert start >= 8.45 - 1e-9 and end <= 9.45


def test_still_pose_is_the_calmest_stretch_where_nothing_is_still():
    rate = 1.0 + 0.5 * np.cos(2 * np.pi * TIME / 10)[:, None]  # calmest at 5 s
    start, end = still_pose(TIME, rate)
    assert start < 5.0 < end


def test_mean_rotation_is_scipys():
    R = Rotation.from_rotvec(0.4 * np.random.default_rng(2).normal(size=(40, 3)))
    mean = mean_rotation(R.as_matrix()[:, None])[0]
    np.testing.assert_allclose(mean, R.mean().as_matrix(), atol=1e-9)
    assert np.linalg.det(mean) == pytest.approx(1.0)


def test_heading_is_where_a_segment_points_or_its_right_side_where_that_is_upright():
    assert heading_of(heading_matrix(0.7)) == pytest.approx(0.7)
    bent = heading_matrix(0.7) @ Rotation.from_rotvec([0.0, 0.0, 0.5]).as_matrix()
    assert heading_of(bent) == pytest.approx(0.7)
    lying = heading_matrix(0.7) @ Rotation.from_rotvec([0.0, 0.0, np.pi / 2]).as_matrix()  # forward is up
    assert heading_of(lying) == pytest.approx(0.7)


# ---- calibration ----


@pytest.mark.parametrize("heading", [0.0, 1.2, -2.8])
def test_a_declared_pose_and_one_given_mounting_settle_all_the_others(heading):
    given = [None, MOUNTINGS[1].as_quat(), None]
    found = calibrate_mounting(worn(heading), TIME, given, POSE, True, [])
    assert degrees_off(found.segment_from_unit).max() < 1e-5
    assert found.sources == ("still pose", "given", "still pose")
    assert found.facing == "mounting given" and found.pose == POSE


def test_a_declared_pose_averages_over_its_time():
    given = [MOUNTINGS[0].as_quat(), None, None]
    found = calibrate_mounting(worn(0.5, noise=0.05), TIME, given, POSE, True, [])
    # 21 keyframes of 0.05 rad: 0.6° a component on each unit
    assert degrees_off(found.segment_from_unit)[1:].max() < 3.0


def test_where_all_mountings_are_given_they_stay_and_no_pose_is_used():
    found = calibrate_mounting(worn(0.3), TIME, list(MOUNTINGS.as_quat()), (0.0, 0.0), True, [])
    assert degrees_off(found.segment_from_unit).max() < 1e-5
    assert found.pose is None and set(found.sources) == {"given"}


def test_with_nothing_known_of_the_heading_it_says_so_and_inclinations_are_right():
    found = calibrate_mounting(worn(1.0), TIME, [None] * 3, POSE, True, [])
    assert found.facing == "unknown"
    left = Rotation.from_matrix(found.segment_from_unit) * MOUNTINGS.inv()
    np.testing.assert_allclose(left.as_rotvec(), np.tile([0, 1.0, 0], (3, 1)), atol=1e-9)


@pytest.mark.parametrize("heading", [0.4, -2.0])
def test_a_flexion_axis_shows_which_way_the_body_faces(heading):
    found = calibrate_mounting(worn(heading), TIME, [None] * 3, POSE, True, [flexion()])
    assert found.facing == "joint axes"
    assert degrees_off(found.segment_from_unit).max() < 1e-5


def test_an_axis_of_known_direction_decides_the_sense_of_one_that_is_only_a_line():
    axes = [flexion(-1.0, signed=False, units=(1, 2)), flexion(1.0, signed=True)]
    for order in (axes, axes[::-1]):
        found = calibrate_mounting(worn(0.4), TIME, [None] * 3, POSE, True, order)
        assert degrees_off(found.segment_from_unit).max() < 1e-5


def test_an_assumed_pose_takes_the_axis_exactly_and_up_as_nearly_as_it_can():
    """The person bends the knee by 20° in what is taken for standing: the axis is right all the same."""
    R = worn(0.4)
    inside = (POSE[0] <= TIME) & (POSE[1] >= TIME)
    bent = Rotation.from_rotvec(np.radians(20) * RIGHT)
    R[inside, 1] = heading_matrix(0.4) @ bent.as_matrix() @ MOUNTINGS[1].as_matrix()
    found = calibrate_mounting(R, TIME, [None] * 3, POSE, False, [flexion()])
    assert found.sources == ("joint axis, upright pose assumed",) * 2 + ("still pose assumed",)
    for unit in (0, 1):
        seen = found.segment_from_unit[unit] @ MOUNTINGS[unit].inv().apply(RIGHT)
        np.testing.assert_allclose(seen, RIGHT, atol=1e-9)
    np.testing.assert_allclose(degrees_off(found.segment_from_unit)[:2], [0, 20], atol=1e-5)


def test_a_pose_between_two_keyframes_takes_the_nearest():
    given = [MOUNTINGS[0].as_quat(), None, None]
    found = calibrate_mounting(worn(0.2), TIME, given, (3.02, 3.08), True, [])
    assert degrees_off(found.segment_from_unit).max() < 1e-5
