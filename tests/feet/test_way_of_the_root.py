"""Which way the root goes: with its feet's paths, less where the feet are against it."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.feet.root_path import Limb, root_path

TIME = 0.02 * np.arange(300)
GONE = np.stack([1.2 * TIME, 0.1 * TIME, 0.4 * TIME], 1)
SWING = np.stack([0.3 * np.sin(6 * TIME), -0.9 + 0.1 * np.cos(6 * TIME), np.full(300, 0.1)], 1)


@pytest.mark.parametrize("feet", [1, 2])
def test_a_root_goes_where_its_feet_go(feet: int) -> None:
    """P = b - d: the foot's own path less its place against the root, both known exactly."""
    limbs = [Limb(GONE + side * SWING - side * SWING[0], side * SWING) for side in (1.0, -1.0)[:feet]]
    found = root_path(TIME, limbs).place
    np.testing.assert_allclose(found, GONE - GONE[0], atol=0.02)
    assert found[-1, 0] > 7.0 and found[-1, 2] > 2.3
