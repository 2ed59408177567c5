"""Where the body goes: the foot that stands keeps its place, so the root moves against it."""

from __future__ import annotations

import dataclasses
from itertools import product

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...core.arrays.scratch import let_go, room, rows_at_once
from ..anatomy import FEET
from .poses import PoseSequence

# heel and ball under the ankle, as shares of the foot's length (drawing of a foot; common practice)
SOLE = np.array([[-0.2, -0.25, 0.0], [0.5, -0.25, 0.0]])
# m, height above the lowest point of the feet within which a point can stand; chosen; not tried
LOWEST = 0.03
SLOWEST = 0.3  # m/s, speed against the slowest point within which a point can stand; chosen; not tried
# share of a point's weight that is left at any speed, so that weights never all vanish; by reasoning
LEAST = 1e-6
GAP = 2.5  # median steps from which a step is a gap; as GAP of recording/sampling.py
SMOOTH_S = 0.1  # s, support passes from one foot to the other over this time; chosen; not tried


def with_root_path(poses: PoseSequence) -> PoseSequence:
    """The same motion with the root moved so that the standing foot stays where it is.

    Parameters
    ----------
    poses : with both feet in the model and known joint centres; others are returned as they are

    Returns
    -------
    PoseSequence; the root starts above the origin, the lowest point of the feet at height zero

    Notes
    -----
    v_root = −Σ w v over heel and ball of both feet, v against the root; weights favour what is low and slow.
    Errors add up with the distance walked, and both feet off the ground are not followed.
    """
    segments = poses.model.segments
    if not all(foot in segments and segments[foot].length for foot in FEET) or poses.positions is None:
        return poses
    still = dataclasses.replace(poses, root_position=None)
    points = soles(still)
    velocity, weight = velocities(points, poses.time), np.empty(points.shape[:2])
    for at in rows_at_once(len(points)):
        height = points[at, :, 1] - points[at, :, 1].min(1, keepdims=True)
        low = np.exp(-height / LOWEST)
        moved = np.einsum("tp,tpi->ti", low / low.sum(1, keepdims=True), velocity[at])
        speed = np.linalg.norm(velocity[at] - moved[:, None], axis=-1)
        weight[at] = low * (LEAST + np.exp(-((speed / SLOWEST) ** 2)))
        let_go(points, velocity)
    step = float(np.median(np.diff(poses.time)))
    weight = uniform_filter1d(weight, max(1, round(SMOOTH_S / step)), axis=0, mode="nearest")
    root_velocity = np.empty((len(points), 3))
    for at in rows_at_once(len(points)):
        share = weight[at] / weight[at].sum(1, keepdims=True)
        root_velocity[at] = -np.einsum("tp,tpi->ti", share, velocity[at])
        let_go(velocity)
    path = np.zeros_like(root_velocity)
    steps = np.diff(poses.time)[:, None]
    steps = np.where(steps < GAP * step, steps, 0.0)  # where the body went in a gap is unknown
    path[1:] = np.cumsum(0.5 * (root_velocity[1:] + root_velocity[:-1]) * steps, axis=0)
    path[:, 1] -= points[0, :, 1].min()
    return dataclasses.replace(poses, root_position=path)


def soles(poses: PoseSequence) -> np.ndarray:
    """Heel and ball of the left and the right foot, under the sole.

    Parameters
    ----------
    poses : with both feet in the model, their lengths and every joint centre known

    Returns
    -------
    (T, 4, 3) m, world frame: left heel, left ball, right heel, right ball
    """
    assert poses.positions is not None
    out = room((len(poses.time), 4, 3))
    for number, foot in enumerate(FEET):
        length, turned = poses.model.segments[foot].length, poses.rotations[foot]
        assert length is not None
        for at, (k, share) in product(rows_at_once(len(out)), enumerate(SOLE)):
            out[at, 2 * number + k] = poses.positions[foot][at] + turned[at].apply(share * length)
            let_go(out)
        poses.let_go()
    return out


def velocities(points: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Velocities of points by differences of neighbouring frames.

    Parameters
    ----------
    points : (T, P, 3) m
    time : (T,) s

    Returns
    -------
    (T, P, 3) m/s
    """
    out = room(points.shape)
    for at in rows_at_once(len(points)):
        near = slice(max(0, at.start - 1), at.stop + 1)
        own = slice(at.start - near.start, at.stop - near.start)
        out[at] = np.gradient(points[near], time[near], axis=0)[own]
        let_go(out, points)
    return out
