"""How far a unit rose from one rest to the next, and how fast it climbed on the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.ndimage import uniform_filter1d

from ....core.gravity import STANDARD_GRAVITY
from ....core.intervals import runs
from .samples import FREQUENCY

STILL_S, STILL_FORCE, STILL_RATE = 0.6, 0.12, 0.15  # s, m/s², rad/s: by reasoning, over how people sway
REST_S = 0.3  # s that a rest lasts at least, beyond the smoothing: by reasoning
EDGE_S = 1.0  # s of a rest from which gravity and posture before and after are taken: by reasoning
# s, as MOST_S of sitting down; tried: 9 on activity_waist_phone, where several changes fit in without a rest
LONGEST_CHANGE_S = 6.0
LONGEST_CLIMB_S = 30.0  # s of a flight of stairs and what is between it and rests: by reasoning
FASTEST_S, CLIMB_S = 1.0, 2.0  # s of averaged speed, of a change and of stairs, a stride or two: by reasoning
ERROR, ERROR_SHARE = 0.02, 0.1  # m/s², and of what a rest's specific force is not gravity's: by reasoning
LEAST_RISE, LEAST_CLIMB = 0.05, 0.05  # m, m/s: least standard deviations, by reasoning


@dataclass(frozen=True, eq=False)
class Heights:
    """What heights say in each window; NaN where they say nothing.

    Attributes
    ----------
    rise, rise_sd : (T,) m, from a rest to the next, in the window in which the unit goes fastest up or down
    climb, climb_sd : (T,) m/s, speed upward, between rests that are some time apart
    """

    rise: np.ndarray
    rise_sd: np.ndarray
    climb: np.ndarray
    climb_sd: np.ndarray


def heights_of(
    force: np.ndarray, rate: np.ndarray, up: np.ndarray, hop: int, known: np.ndarray | None = None
) -> Heights:
    """Heights between rests.

    Parameters
    ----------
    force, up : (N, 3) m/s² and length one, unit frame, at `samples.FREQUENCY`
    rate : (N, 3) rad/s
    hop : samples from window to window, the first in the middle of sample 0
    known : (N,) bool, False inside gaps, which are neither rest nor movement; None: all

    Returns
    -------
    Heights of T windows, T = ceil(N / hop)

    Notes
    -----
    Between two rests the unit's speed upward is v = ∫(f·u − g) dt less the line that brings it to nought at
    the second, its rise is ∫v dt. A unit's g differs with how it lies, by its sensor's bias and scale: it is
    g₀ at the first rest and g₁ at the second, between them by how far it has turned from either,
    g = (α₁ g₀ + α₀ g₁) / (α₀ + α₁). Of a force error e that changes its sign half way stay eT/4 of speed
    and eT²/16 of rise; e grows with what rests show to be wrong, | |f| − 9.81 |.
    """
    windows = -(-len(force) // hop)
    out = Heights(*(np.full(windows, np.nan) for _ in range(4)))
    size = np.linalg.norm(force, axis=1)
    known = np.ones(len(force), bool) if known is None else known
    for start, end, level, speed in _movements(force, rate, up, size, known):
        seconds = (end - start) / FREQUENCY
        wrong = ERROR + ERROR_SHARE * np.abs(level - STANDARD_GRAVITY).max()
        if seconds <= LONGEST_CHANGE_S:
            at = (start + int(np.argmax(np.abs(_averaged(speed, FASTEST_S))))) // hop
            out.rise[at], out.rise_sd[at] = speed.sum() / FREQUENCY, LEAST_RISE + wrong * seconds**2 / 16
        inner = np.arange(-(-start // hop), (end - 1) // hop + 1)
        out.climb[inner] = _averaged(speed, CLIMB_S)[inner * hop - start]
        out.climb_sd[inner] = LEAST_CLIMB + wrong * seconds / 4
    return out


def _movements(
    force: np.ndarray, rate: np.ndarray, up: np.ndarray, size: np.ndarray, known: np.ndarray
) -> Iterator[tuple[int, int, np.ndarray, np.ndarray]]:
    """From rest to rest: first sample and one past the last, m/s² felt at both, and m/s upward."""
    rests = runs(_still(size, rate) & known)
    rests = rests[rests[:, 1] - rests[:, 0] > REST_S * FREQUENCY]
    edge = int(EDGE_S * FREQUENCY)
    for (first, start), (end, last) in pairwise(rests):
        if end - start > LONGEST_CLIMB_S * FREQUENCY or not known[start:end].all():
            continue
        ends = slice(max(first, start - edge), start), slice(end, min(last, end + edge))
        level = np.array([size[part].mean() for part in ends])
        turned = [_angle(up[start:end], up[part].mean(0)) for part in ends]
        share = turned[0] / np.maximum(turned[0] + turned[1], 1e-6)
        felt = np.sum(force[start:end] * up[start:end], 1) - level[0] - share * (level[1] - level[0])
        speed = np.cumsum(felt) / FREQUENCY
        yield start, end, level, speed - speed[-1] * np.linspace(0, 1, len(speed))


def _still(size: np.ndarray, rate: np.ndarray) -> np.ndarray:
    """(N,) where neither the size of the specific force nor the unit's posture changes."""
    averages = (_averaged(one, STILL_S) for one in (size, size**2, np.linalg.norm(rate, axis=1)))
    mean, square, turning = averages
    return (square - mean**2 < STILL_FORCE**2) & (turning < STILL_RATE)


def _averaged(values: np.ndarray, seconds: float) -> np.ndarray:
    return uniform_filter1d(values, int(seconds * FREQUENCY), mode="nearest")


def _angle(up: np.ndarray, posture: np.ndarray) -> np.ndarray:
    """(n,) rad between directions (n, 3) and one of any length."""
    return np.arccos(np.clip(up @ (posture / np.linalg.norm(posture)), -1, 1))
