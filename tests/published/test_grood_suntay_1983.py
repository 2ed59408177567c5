"""Knee angles from vectors, as the floating-axis system defines them.

Grood ES, Suntay WJ 1983, J Biomech Eng 105:136-144, doi:10.1115/1.3138397. Read in two codes, not in the
paper; those disagree on the sign of adduction, which is settled here by geometry (varus positive), and their
arcsine folds past 90 degrees, so the angles are taken by atan2.
"""

# numbers that may be unknown (None) are known in these models
# pyright: reportGeneralTypeIssues=false

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.body.anatomy import standard_angles
from bodyfit.body.motion.joint_angles import joint_angles, rotation_from_angles
from bodyfit.body.parts import Joint


def grood_suntay(femur, tibia, side):
    """Flexion, adduction, external rotation from the bones' axes: I, J, K to the right, front, top."""
    I, J, K = femur[:, :, 2], femur[:, :, 0], femur[:, :, 1]
    i, j, k = tibia[:, :, 2], tibia[:, :, 0], tibia[:, :, 1]
    floating = np.cross(k, I)
    floating /= np.linalg.norm(floating, axis=1, keepdims=True)
    flexion = np.arctan2(-np.sum(floating * K, 1), np.sum(floating * J, 1))
    beta = np.arccos(np.sum(I * k, 1))
    mirror = 1 if side == "r" else -1
    external = np.arctan2(-mirror * np.sum(floating * i, 1), np.sum(floating * j, 1))
    return flexion, mirror * (np.pi / 2 - beta), external


def knee(side):
    sequence, angles, signs = standard_angles(f"{side}_knee")
    return Joint("knee", "thigh", "calf", sequence=sequence, angles=angles, signs=signs)


@pytest.mark.parametrize("side", ["l", "r"])
def test_knee_angles_equal_those_of_the_floating_axis(side):
    rng = np.random.default_rng(1983)
    given = {
        "flexion": rng.uniform(-0.3, 2.8, 500),  # past 90 degrees too
        "adduction": rng.uniform(-0.5, 0.5, 500),
        "internal_rotation": rng.uniform(-0.8, 0.8, 500),
    }
    femur = Rotation.random(500, rng=rng)
    tibia = femur * rotation_from_angles(knee(side), given)
    flexion, adduction, external = grood_suntay(femur.as_matrix(), tibia.as_matrix(), side)
    found = joint_angles(knee(side), (femur.inv() * tibia).as_matrix())
    np.testing.assert_allclose(found["flexion"], flexion, atol=1e-9)
    np.testing.assert_allclose(found["adduction"], adduction, atol=1e-9)
    np.testing.assert_allclose(found["internal_rotation"], -external, atol=1e-9)
    np.testing.assert_allclose(flexion, given["flexion"], atol=1e-9)
