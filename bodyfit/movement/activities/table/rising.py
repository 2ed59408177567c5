"""Evidence of heights: who sits down goes down, who climbs goes up, and who walks does neither."""

from __future__ import annotations

import numpy as np

from ..chain.names import UNKNOWN
from ..unit.heights import Heights

# m, mean and standard deviation of how far the waist rises. By reasoning: hips are 0.8 to 0.95 m over the
# ground (0.53 of stature, Winter 2009, Biomechanics and Motor Control, table 4.1) and seats 0.3 to 0.5 m;
# looked at: activity_waist_young_old, -0.2 to -0.54 m for chairs, 0 to -0.1 m from sitting to lying
RISES = {
    "standing": (0.0, 0.1), "sitting": (0.0, 0.1), "lying": (0.0, 0.1), "walking": (0.0, 0.1),
    "running": (0.0, 0.1), "stairs_up": (0.5, 0.4), "stairs_down": (-0.5, 0.4),
    "stand_to_sit": (-0.37, 0.13), "sit_to_stand": (0.37, 0.13), "sit_to_lie": (0.0, 0.15),
    "lie_to_sit": (0.0, 0.15), "stand_to_lie": (-0.4, 0.2), "lie_to_stand": (0.4, 0.2),
    "other": (0.0, 0.35), UNKNOWN: (0.0, 0.5),
}  # fmt: skip
# m/s. By reasoning: steps of 0.15 to 0.19 m (DIN 18065, from memory), 1.5 to 2 a second, down a little faster
CLIMBS = {
    "walking": (0.0, 0.1), "running": (0.0, 0.2), "stairs_up": (0.28, 0.12), "stairs_down": (-0.33, 0.15),
}  # fmt: skip
STRAY = 0.05  # by reasoning: of movements, what fits none of this, such as lifts, ladders and jumps
WIDE = 0.5  # 1/m, s/m: density of what is stray, within one either way: by reasoning


def rise_evidence(heights: Heights, states: tuple[str, ...]) -> np.ndarray:
    """How well each activity agrees with how far the unit rose.

    Parameters
    ----------
    heights : of T windows
    states : n names, keys of `RISES`

    Returns
    -------
    (T, n) log-likelihoods, the best in a row nought; nought in windows that have no rise
    """
    return _likely(heights.rise, heights.rise_sd, [RISES[name] for name in states])


def climb_evidence(heights: Heights, states: tuple[str, ...]) -> np.ndarray:
    """How well each gait agrees with how fast the unit climbs.

    Parameters
    ----------
    heights : of T windows
    states : n names, keys of `CLIMBS`

    Returns
    -------
    (T, n) log-likelihoods, the best in a row nought; nought in windows that have no speed
    """
    return _likely(heights.climb, heights.climb_sd, [CLIMBS[name] for name in states])


def _likely(values: np.ndarray, sd: np.ndarray, expected: list[tuple[float, float]]) -> np.ndarray:
    """(T, n) log of (1 − STRAY) N(value; mean, sd² + spread²) + STRAY WIDE, less the row's best."""
    mean, spread = np.array(expected).T
    width = np.hypot(sd[:, None], spread)
    normal = np.exp(-0.5 * ((values[:, None] - mean) / width) ** 2) / (np.sqrt(2 * np.pi) * width)
    out = np.log((1 - STRAY) * normal + STRAY * WIDE)
    return np.nan_to_num(out - out.max(1, keepdims=True), nan=0.0)
