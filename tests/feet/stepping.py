"""Signals of a unit on a foot that steps along a line, by formulas; the truth is known exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bodyfit.recording.capture import Unit

G = 9.80665


@dataclass(frozen=True)
class Stepping:
    """A foot that rolls over its ball: where its unit is and what it reads.

    Attributes
    ----------
    unit : worn, axes along the foot's
    strike, off : s, of each swing
    length : m, of a stride
    rise : m, of the ground from stance to stance
    """

    unit: Unit
    strike: np.ndarray
    off: np.ndarray
    length: float
    rise: float


def stepping(
    length: float = 1.3,
    rise: float = 0.0,
    count: int = 8,
    hz: float = 200.0,
    period: float = 1.1,
    segment: str = "hindfoot",
    seed: int = 0,
    tips: float = 0.7,
) -> Stepping:
    """A walk of `count` strides: 60 % stance, 40 % swing, in which it tips down, then up.

    Place x = length (u − sin 2πu / 2π), height 6 cm (1 − cos 2πu), pitch −`tips` sin 2πu for u from 0 to 1 in
    the swing; the unit sits 5 cm above the ball, about which the foot tips.
    """
    swing = 0.4 * period
    start = 1.5 + period * np.arange(count)
    time = np.arange(0, start[-1] + swing + 1.5, 1 / hz / 4)
    done = np.clip((time[:, None] - start) / swing, 0, 1)
    x = length * (done - np.sin(2 * np.pi * done) / (2 * np.pi)).sum(1)
    y = 0.03 * (1 - np.cos(2 * np.pi * done)).sum(1) + rise / length * x
    tip = np.sin(2 * np.pi * done) * (1 - np.cos(2 * np.pi * done)) / 1.3
    pitch = -tips * tip.sum(1)  # + is toes up
    arm = np.array([-0.08, 0.05])
    c, s = np.cos(pitch), np.sin(pitch)
    px, py = x + c * arm[0] - s * arm[1], y + s * arm[0] + c * arm[1]
    dt = time[1] - time[0]
    ax, ay = (np.gradient(np.gradient(p, dt), dt) for p in (px, py))
    force = np.stack([c * ax + s * (ay + G), -s * ax + c * (ay + G), np.zeros_like(c)], 1)
    rate = np.stack([np.zeros_like(c), np.zeros_like(c), np.gradient(pitch, dt)], 1)
    rng = np.random.default_rng(seed)
    at = slice(None, None, 4)
    noisy = force[at] + rng.normal(0, 0.02, force[at].shape), rate[at] + rng.normal(0, 0.002, rate[at].shape)
    return Stepping(Unit("foot", segment, time[at], *noisy), start + swing, start, length, rise)
