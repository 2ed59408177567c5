"""Stretches of time that a fit's output is split into, and in which segments were only inferred."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..recording.sampling import GAP

if TYPE_CHECKING:
    from .track import Track


def stretches_of(time: np.ndarray, step: float) -> list[list[float]]:
    """Stretches that long gaps of all units split the output into.

    Parameters
    ----------
    time : (T,) s
    step : s, between frames

    Returns
    -------
    [start, end] in s, one a stretch
    """
    cuts = np.flatnonzero(np.diff(time) > GAP * step)
    first, last = np.r_[0, cuts + 1], np.r_[cuts, len(time) - 1]
    return [[float(time[a]), float(time[b])] for a, b in zip(first, last, strict=True)]


def inferred_segments(tracks: Sequence[Track]) -> dict[str, list[list[float]]]:
    """Segment -> [start, end] s in which its unit was not measured and only its neighbours hold it."""
    out = {}
    for track in tracks:
        signals = track.problem.signals
        for u, segment in enumerate(track.segments):
            if not signals.has["gyroscope"][u] and not signals.has["orientation"][u]:
                continue
            edges = np.flatnonzero(np.diff(np.r_[False, signals.lost[:, u], False].astype(int)))
            if edges.size:
                out[segment] = np.round(signals.key_time[edges], 4).reshape(-1, 2).tolist()
    return out
