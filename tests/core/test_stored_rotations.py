"""Rotations by name from quaternions that may lie on the disk."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from bodyfit.core.arrays.scratch import LARGE_BYTES, room
from bodyfit.core.arrays.stored_rotations import StoredRotations, rotations_by_name


def test_each_is_what_its_quaternions_say():
    R = Rotation.random(6, random_state=1)
    stored = StoredRotations(["a", "b"], R.as_quat().reshape(2, 3, 4))
    assert list(stored) == ["a", "b"] and len(stored) == 2 and "c" not in stored
    np.testing.assert_allclose(stored["b"].as_quat(), R[3:].as_quat(), atol=1e-15)


def test_small_ones_are_a_dict_and_large_ones_are_made_when_asked_for():
    quat = room((2, LARGE_BYTES // 64, 4))
    quat[:] = [0.0, 0.6, 0.0, 0.8]
    large = rotations_by_name(["a", "b"], quat)
    assert isinstance(large, StoredRotations) and len(large["a"]) == quat.shape[1]
    small = rotations_by_name(["a", "b"], quat[:, :3])
    assert isinstance(small, dict)
    np.testing.assert_allclose(small["b"].as_quat(), large["b"].as_quat()[:3], atol=1e-15)
