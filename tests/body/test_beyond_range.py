"""What lies beyond a range, at either end, in the names and signs of the joint."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.body.motion.joint_angles import beyond_range
from bodyfit.body.parts import Joint

LOW, HIGH = np.radians([-10.0, 150.0])
KNEE = Joint("r_knee", "thigh", "calf", range={"flexion": (LOW, HIGH)})


@pytest.mark.parametrize(("deg", "beyond"), [(-30, -20), (-10, 0), (60, 0), (150, 0), (170, 20)])
def test_an_angle_beyond_either_end_is_told_by_how_much(deg: float, beyond: float) -> None:
    angles = np.radians([[deg, 300.0, -300.0]])  # the other two have no range
    np.testing.assert_allclose(np.degrees(beyond_range(KNEE, angles)), [[beyond, 0.0, 0.0]], atol=1e-12)
