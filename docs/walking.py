"""Walking of any length, made of the strides of a recorded walk."""

from __future__ import annotations

import dataclasses

import numpy as np
from scipy.spatial.transform import Rotation, Slerp

from bodyfit.body.motion.poses import PoseSequence

STRIDE_S = (0.9, 1.35)  # how long a stride of walking takes
BLEND = 0.15  # share of the stride over which its end is led over into its beginning
PACE_SD = 0.06  # strides differ in length of time by this share
TURNING = 0.25  # rad/s, how fast the walker turns at most


def walk(recorded: PoseSequence, seconds: float, rng: np.random.Generator) -> PoseSequence:
    """A walk of some length: one recorded stride over and over, each at its own pace, along a winding path.

    Parameters
    ----------
    recorded : walking, at least one stride
    seconds : s
    rng : draws paces and turns

    Returns
    -------
    PoseSequence, at the rate of the recorded one
    """
    dt = float(np.median(np.diff(recorded.time)))
    first, period = _stride(recorded, dt)
    phase = _phase(seconds, dt, period * dt, rng)
    whole, share = np.floor(phase).astype(int), phase % 1.0
    time = dt * np.arange(len(phase))
    turn = Rotation.from_rotvec(
        np.outer(TURNING / 0.4 * np.sin(0.4 * time + rng.uniform(0, 2 * np.pi)), [0.0, 1.0, 0.0])
    )
    rotations = {
        name: turn * _looped(rotation, first, period)(share) for name, rotation in recorded.rotations.items()
    }
    assert recorded.root_position is not None
    along = _looped_path(recorded.root_position, first, period)
    per_stride = recorded.root_position[first + period] - recorded.root_position[first]
    straight = along(share) + whole[:, None] * per_stride * [1.0, 0.0, 1.0]
    velocity = turn.apply(np.gradient(straight, dt, axis=0))
    position = np.cumsum(velocity, axis=0) * dt
    position[:, 1] = straight[:, 1]
    return dataclasses.replace(recorded, time=time, rotations=rotations, root_position=position)


def _stride(motion: PoseSequence, dt: float) -> tuple[int, int]:
    """First frame and length, in frames, of the stride whose end is most like its beginning."""
    R = np.stack([m for name, m in motion.matrices.items()], 1)
    best = (np.inf, 0, 0)
    for period in range(round(STRIDE_S[0] / dt), min(round(STRIDE_S[1] / dt), len(R) - 12)):
        off = np.square(R[period:] - R[:-period]).sum((1, 2, 3))
        off = np.convolve(off, np.ones(10) / 10, "valid")
        best = min(best, (float(off.min()), int(off.argmin()), period))
    return best[1], best[2]


def _phase(seconds: float, dt: float, stride: float, rng: np.random.Generator) -> np.ndarray:
    """(n,) strides walked so far, the pace changing smoothly from one to the next."""
    count = round(seconds / dt) + 1
    strides = int(2 * seconds / stride) + 3
    paces = np.interp(
        np.arange(count) * dt / stride, np.arange(strides), 1 + PACE_SD * rng.standard_normal(strides)
    )
    return rng.uniform() + np.cumsum(paces) * dt / stride


def _looped(rotation: Rotation, first: int, period: int):
    """Rotation at a share of the stride; towards its end led over to what comes before its beginning."""
    gap = (rotation[first + period].inv() * rotation[first]).as_rotvec()
    share = np.linspace(0.0, 1.0, period + 1)
    lead = np.clip((share - (1 - BLEND)) / BLEND, 0.0, 1.0)
    lead = lead**2 * (3 - 2 * lead)
    return Slerp(share, rotation[first : first + period + 1] * Rotation.from_rotvec(lead[:, None] * gap))


def _looped_path(position: np.ndarray, first: int, period: int):
    """Position at a share of the stride, the height led over likewise."""
    path = position[first : first + period + 1].copy()
    share = np.linspace(0.0, 1.0, period + 1)
    lead = np.clip((share - (1 - BLEND)) / BLEND, 0.0, 1.0)
    path[:, 1] += (lead**2 * (3 - 2 * lead)) * (path[0, 1] - path[-1, 1])
    return lambda at: np.stack([np.interp(at, share, path[:, i]) for i in range(3)], -1)
