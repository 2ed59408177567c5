"""The root's path from two feet that drift: against the truth by formulas, and one foot alone."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.core.rotations import UP
from bodyfit.feet.root_path import Limb, root_path


def walk(drift=0.0, feet=2, seconds=30.0):
    """A root that goes 1 m/s and climbs, feet beside it, their own paths turning by `drift` rad."""
    time = np.arange(0, seconds, 0.02)
    root = np.stack([time, 0.1 * time + 0.02 * np.cos(11 * time), 0 * time], 1)
    limbs = []
    for side in (-1, 1)[:feet]:
        against = np.stack([0.3 * side * np.cos(5.5 * time), -0.9 + 0 * time, 0.1 * side + 0 * time], 1)
        foot = root + against
        turn = side * drift * time / seconds
        c, s = np.cos(turn), np.sin(turn)
        step = np.gradient(foot, axis=0)
        turned = np.stack([c * step[:, 0] + s * step[:, 2], step[:, 1], c * step[:, 2] - s * step[:, 0]], 1)
        limbs.append(Limb(np.cumsum(turned, axis=0), against))
    return time, root, limbs


@pytest.mark.parametrize("feet", [1, 2])
def test_the_root_goes_where_the_feet_went(feet):
    time, root, limbs = walk(feet=feet)
    found = root_path(time, limbs)
    assert np.abs(found.place - (root - root[0])).max() < 0.04  # the root's bobbing of 2 cm is smoothed
    assert np.all(found.sd[0] < 1e-6) and np.all(np.diff(found.sd[:, 2]) > 0)


@pytest.mark.parametrize("feet", [1, 2])
def test_a_foot_whose_path_turns_is_turned_back(feet):
    """The body knows which way the foot swings: a path that turns by 3° over 30 m would end 0.75 m aside."""
    time, _, limbs = walk(drift=0.05, feet=feet)
    assert abs(limbs[0].point[-1, 2] - limbs[0].point[0, 2]) > 0.7
    assert abs(root_path(time, limbs).place[-1, 2]) < 0.1


def test_feet_of_unlike_lengths_do_not_turn_the_way():
    """One foot's path is 6 % too long and turned by 9°, the other's 6 % too short, on a way that winds.

    Lengths that contradict each other, taken for headings, would lead 12 m aside.
    """
    time = np.arange(0, 40, 0.02)
    heading = 0.6 * np.sin(0.4 * time)
    ahead = np.stack([np.cos(heading), 0 * time, -np.sin(heading)], 1)
    right = np.cross(ahead, UP)
    root, limbs = 0.02 * np.cumsum(1.3 * ahead, 0), []
    for side, long, turn in ((-1, 1.06, 0.15), (1, 0.94, 0.0)):
        against = 0.3 * side * np.cos(5.5 * time)[:, None] * ahead + 0.1 * side * right - 0.9 * UP
        c, s = np.cos(turn), np.sin(turn)
        turned = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
        limbs.append(Limb((root + against) * [long, 1, long] @ turned.T, against))
    off = root_path(time, limbs).place - (root - root[0])
    assert np.abs(off[:, 0]).max() < 0.5 and np.abs(off[:, 2]).max() < 2.0


def test_slip_that_all_strides_share_grows_with_the_way():
    time, _, limbs = walk()
    slipping = [Limb(limb.point, limb.from_root, 0.04) for limb in limbs]
    plain, wide = root_path(time, limbs), root_path(time, slipping)
    assert wide.sd[-1, 0] == pytest.approx(np.hypot(plain.sd[-1, 0], 0.04 * 30), rel=0.02)
    assert wide.sd[-1, 1] == pytest.approx(plain.sd[-1, 1])


def test_deviations_cover_what_drift_does():
    """Steps of the drift drawn as the problem believes them: 2 cm a metre's root, many times."""
    rng, inside = np.random.default_rng(0), []
    for _ in range(30):
        time, root, limbs = walk()
        shaken = []
        for limb in limbs:
            far = np.linalg.norm(np.diff(limb.point, axis=0), axis=1)
            steps = rng.normal(size=(len(far), 3)) * (0.015 * np.sqrt(far / 1.3))[:, None]
            shaken.append(
                Limb(limb.point + np.vstack([np.zeros(3), np.cumsum(steps, axis=0)]), limb.from_root)
            )
        found = root_path(time, shaken)
        off = (found.place[-1] - (root[-1] - root[0]))[1]
        inside.append(abs(off) < 1.96 * found.sd[-1, 1])
    assert np.mean(inside) >= 0.8
