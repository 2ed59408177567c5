"""Joint angles in the recommendations of the International Society of Biomechanics.

Wu G et al. 2002, J Biomech 35:543-548, doi:10.1016/S0021-9290(01)00222-6 (hip, ankle, spine; sequences from
memory); Wu G et al. 2005, J Biomech 38:981-992, doi:10.1016/j.jbiomech.2004.05.042 (shoulder 2.4.7, elbow
3.4.1, wrist 4.4.1; sequences read in a transcription). The check vectors are computed from these sequences,
quaternions printed to 6 decimals, so angles agree to about 3e-6 rad.
"""

# numbers that may be unknown (None) are known in these models
# pyright: reportGeneralTypeIssues=false, reportOptionalSubscript=false

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.body.anatomy import standard_angles
from bodyfit.body.motion.joint_angles import joint_angles, rotation_from_angles
from bodyfit.body.parts import Joint

VECTORS = pd.read_csv(Path(__file__).parent / "data/isb_check_vectors.csv")
MIRROR = np.diag([1.0, 1.0, -1.0])
rows = pytest.mark.parametrize(
    "row", list(VECTORS.itertuples(index=False)), ids=lambda r: f"{r.joint} {r.first_deg}"
)


def joint(name):
    sequence, angles, signs = standard_angles(name)
    return Joint(name, "parent", "child", sequence=sequence, angles=angles, signs=signs)


def angles_deg(name, R):
    return np.rad2deg([float(a) for a in joint_angles(joint(name), R).values()])


@rows
def test_angles_of_the_check_vectors(row):
    R = Rotation.from_quat([row.qx, row.qy, row.qz, row.qw]).as_matrix()
    expected = [row.first_deg, row.second_deg, row.third_deg]
    np.testing.assert_allclose(angles_deg(row.joint, R), expected, atol=np.rad2deg(3e-6))


@rows
def test_left_side_reads_the_mirrored_check_vectors_the_same(row):
    R = MIRROR @ Rotation.from_quat([row.qx, row.qy, row.qz, row.qw]).as_matrix() @ MIRROR
    expected = [row.first_deg, row.second_deg, row.third_deg]
    np.testing.assert_allclose(angles_deg(row.joint.replace("r_", "l_"), R), expected, atol=np.rad2deg(3e-6))


@rows
def test_check_vectors_follow_from_the_angles(row):
    named = dict(
        zip(joint(row.joint).angles, np.deg2rad([row.first_deg, row.second_deg, row.third_deg]), strict=True)
    )
    quat = rotation_from_angles(joint(row.joint), named).as_quat()
    expected = np.array([row.qx, row.qy, row.qz, row.qw])
    np.testing.assert_allclose(quat * np.sign(quat @ expected), expected, atol=1e-6)


def test_raised_humerus_points_along_the_published_axes():
    def long_axis(plane, elevation, axial):
        named = dict(zip(joint("r_shoulder").angles, np.deg2rad([plane, elevation, axial]), strict=True))
        return rotation_from_angles(joint("r_shoulder"), named).apply([0, -1, 0])

    np.testing.assert_allclose(long_axis(0, -90, 0), [0, 0, 1], atol=1e-12)
    np.testing.assert_allclose(long_axis(90, -90, 0), [1, 0, 0], atol=1e-12)
    np.testing.assert_allclose(long_axis(40, -60, 20), [0.5567, -0.5, 0.6634], atol=1e-4)


def test_plane_of_elevation_is_undefined_for_a_hanging_arm_and_reads_zero():
    named = dict(zip(joint("r_shoulder").angles, np.deg2rad([40, 0, -40]), strict=True))
    R = rotation_from_angles(joint("r_shoulder"), named).as_matrix()
    np.testing.assert_allclose(R, np.eye(3), atol=1e-12)
    np.testing.assert_allclose(angles_deg("r_shoulder", R), [0, 0, 0], atol=1e-6)


def test_forearm_turned_past_the_half_turn_stays_in_its_range():
    elbow = replace(joint("r_elbow"), range={"pronation": (np.deg2rad(-6), np.deg2rad(182))})
    R = rotation_from_angles(elbow, {"flexion": 1.0, "pronation": np.deg2rad(181)}).as_matrix()
    assert np.rad2deg(joint_angles(elbow, R)["pronation"]) == pytest.approx(181)
