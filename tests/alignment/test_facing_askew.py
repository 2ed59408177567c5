"""How tilted mountings turn third angles, against turning them and taking angles by scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.alignment.facing.askew import third_askew
from bodyfit.alignment.facing.grid import wrapped
from bodyfit.alignment.facing.pieces import Pieces

TILT = np.radians([0.3, 0.2])  # rad, of parent and child, about X and about Z


def found(R: Rotation, cardan: bool, tilt: np.ndarray) -> float:
    """Rad², by the module: the parent lies anyhow, the child's own heading is off by one radian."""
    parent = Rotation.random(random_state=1)
    child = Rotation.from_rotvec([0.0, -1.0, 0.0]) * parent * R
    ups = parent.as_matrix()[None, :, 1], child.as_matrix()[None, :, 1]
    no = np.array([False])
    one = Pieces(np.arange(1), np.arange(1), np.ones(1, int), np.zeros(1, int), no, no, np.zeros(1))
    return float(third_askew(one, ups, np.exp([1j]), tilt, cardan)[0])


def twist(R: Rotation) -> np.ndarray:
    """Rad, about Y."""
    q = R.as_quat()
    return 2 * np.arctan2(q[..., 1], q[..., 3])


def cardan_third(R: Rotation) -> np.ndarray:
    """Rad, of Z-X-Y."""
    return R.as_euler("ZXY")[..., 2]


@pytest.mark.parametrize("cardan", [True, False])
@pytest.mark.parametrize("bend", [5.0, 60.0, 100.0])
def test_third_angles_turn_as_tilted_mountings_have_it(cardan, bend):
    angles = [bend, 0.0, 50.0] if cardan else [0.4 * bend, 0.3 * bend, 50.0]
    R, rng = Rotation.from_euler("ZXY", angles, True), np.random.default_rng(0)
    before, after = (
        Rotation.from_rotvec(sd * rng.standard_normal((20_000, 3)) * [1.0, 0.0, 1.0]) for sd in TILT
    )
    third = cardan_third if cardan else twist
    off = wrapped(third(before * R * after) - third(R))
    assert found(R, cardan, TILT) == pytest.approx(np.mean(off**2), rel=0.05)


def test_a_limb_that_is_almost_turned_round_does_not_turn_its_twist_for_ever():
    assert found(Rotation.from_rotvec([0.0, 0.0, 3.1]), False, TILT) < 4 * np.sum(TILT**2)
