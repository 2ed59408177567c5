"""Invented recordings in which movements repeat at known times."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from example_summary import summary
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint, Segment
from bodyfit.fitting.result import Fit
from bodyfit.recording.capture import Capture, Unit

HERTZ = 50.0
Done = tuple[str, float, float]  # movement, start, end


def shape(movement: str, share: np.ndarray) -> np.ndarray:
    """(n, 2) rad, two angles over a cycle's share: there and back, "lift" and "turn" differently."""
    hump = 0.5 * (1 - np.cos(2 * np.pi * share))
    late = 0.5 * (1 - np.cos(2 * np.pi * share**1.6))
    flat = np.sin(2 * np.pi * share) * hump
    pairs = {"lift": (1.2 * hump, 0.5 * flat), "turn": (0.6 * flat, -0.9 * late)}
    return np.stack(pairs[movement], -1)


def angles(
    done: Sequence[Done], seconds: float, noise: float = 0.0, sizes: Sequence[float] = ()
) -> np.ndarray:
    """(T, 2) rad over time, movements where they are done."""
    time = np.arange(0.0, seconds, 1 / HERTZ)
    out = noise * np.random.default_rng(1).normal(size=(len(time), 2)).cumsum(0) / HERTZ
    for i, (movement, start, end) in enumerate(done):
        inside = (time >= start) & (time <= end)
        size = sizes[i] if len(sizes) else 1.0
        out[inside] += size * shape(movement, (time[inside] - start) / (end - start))
    return out


def fit_of(done: Sequence[Done], seconds: float, **how) -> Fit:
    """A fit of two segments whose joint does the movements, the body turning slowly all the while."""
    both = angles(done, seconds, **how)
    time = np.arange(len(both)) / HERTZ
    model = BodyModel(
        "pair", {n: Segment(n) for n in ("pelvis", "thigh")}, {"hip": Joint("hip", "pelvis", "thigh")}
    )
    root = Rotation.from_euler("Y", 0.1 * time[:, None])
    turn = Rotation.from_euler("ZX", both)
    poses = PoseSequence(time, {"pelvis": root, "thigh": root * turn}, model)
    return Fit(poses, summary(poses))


def capture_of(done: Sequence[Done], seconds: float, turned: Rotation | None = None, **how) -> Capture:
    """A capture of one unit that turns as the movements do."""
    both = angles(done, seconds, **how)
    time = np.arange(len(both)) / HERTZ
    turn = Rotation.from_euler("ZX", both) * (turned or Rotation.identity())
    rates = (turn[:-1].inv() * turn[1:]).as_rotvec() * HERTZ
    rates = np.concatenate([rates[:1], rates])
    force = turn.inv().apply([0.0, 9.81, 0.0])
    noise = 0.02 * np.random.default_rng(2).normal(size=(2, *rates.shape))
    unit = Unit("wrist", "hand", time, accelerometer=force + noise[0], gyroscope=rates + noise[1])
    return Capture({"wrist": unit}, BodyModel("one", {"hand": Segment("hand")}, {}))


def evenly(movement: str, count: int, length: float, rest: float, start: float = 2.0) -> list[Done]:
    """The movement done so many times, with rests between."""
    at = start + (length + rest) * np.arange(count)
    return [(movement, float(a), float(a + length)) for a in at]
