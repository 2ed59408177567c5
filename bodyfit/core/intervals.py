"""Stretches of time: runs of a condition, joined over short breaks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

JOIN_S = 0.3  # s, stretches nearer to each other count as one; chosen; not tried
SHORTEST_S = 0.05  # s, what is shorter is left out: three frames of a usual sampling; by reasoning


def runs(flags: np.ndarray) -> np.ndarray:
    """Runs of True.

    Parameters
    ----------
    flags : (T,) bool

    Returns
    -------
    (k, 2) of int: first index of each, and the one past its last
    """
    return np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int))).reshape(-1, 2)


@dataclass(frozen=True)
class Stretch:
    """Frames [first, last], both included, of a time axis.

    Attributes
    ----------
    first, last : index
    start, end : s
    """

    first: int
    last: int
    start: float
    end: float

    @property
    def frames(self) -> slice:
        """The frames as a slice."""
        return slice(self.first, self.last + 1)


def stretches(
    time: np.ndarray, holds: np.ndarray, join: float = JOIN_S, shortest: float = SHORTEST_S
) -> list[Stretch]:
    """Stretches in which `holds`.

    Parameters
    ----------
    time : (T,) s, increasing
    holds : (T,) bool
    join : s; stretches with less than this between them are one
    shortest : s; what holds for less time altogether is left out

    Returns
    -------
    list of Stretch, in the order of time
    """
    edges = runs(holds)
    if not len(edges):
        return []
    first, last = edges[:, 0], edges[:, 1] - 1
    apart = time[first[1:]] - time[last[:-1]] > join
    first, last = first[np.r_[True, apart]], last[np.r_[apart, True]]
    step = float(np.median(np.diff(time))) if len(time) > 1 else 0.0
    held = np.concatenate([[0], np.cumsum(holds)])
    long = (held[last + 1] - held[first]) * step >= shortest
    pairs = zip(first[long].tolist(), last[long].tolist(), strict=True)
    return [Stretch(a, b, float(time[a]), float(time[b])) for a, b in pairs]
