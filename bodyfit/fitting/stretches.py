"""Stretches of time that a fit's output is split into, and in which segments were only inferred."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..core.intervals import runs
from ..recording.sampling import GAP
from ..recording.trials import Trial, within
from ..results.kinds import Span

if TYPE_CHECKING:
    from .track import Track


def stretches_of(time: np.ndarray, step: float) -> tuple[Span, ...]:
    """Stretches that long gaps of all units split the output into.

    Parameters
    ----------
    time : (T,) s
    step : s, between frames

    Returns
    -------
    (start, end) in s, one a stretch
    """
    cuts = np.flatnonzero(np.diff(time) > GAP * step)
    first, last = np.r_[0, cuts + 1], np.r_[cuts, len(time) - 1]
    return tuple((float(time[a]), float(time[b])) for a, b in zip(first, last, strict=True))


def inferred_segments(
    tracks: Sequence[Track], trials: Sequence[Trial] = (), pauses: bool = True
) -> dict[str, tuple[Span, ...]]:
    """Segment -> (start, end) s in which its unit was not measured and only its neighbours hold it.

    Parameters
    ----------
    tracks : solved
    trials : of the capture; pauses between them are left out
    pauses : with those in which no unit was measured, for which there are no frames
    """
    out = {}
    for track in tracks:
        signals = track.problem.signals
        turning = signals.has["gyroscope"] | signals.has["orientation"]
        pause = signals.lost[:, turning].all(1) & (turning.sum() > 1) & (not pauses)
        for u, segment in enumerate(track.segments):
            if not signals.has["gyroscope"][u] and not signals.has["orientation"][u]:
                continue
            spans = _in_trials(signals.key_time[runs(signals.lost[:, u] & ~pause)], trials, signals.key_step)
            if len(spans):
                out[segment] = tuple((float(a), float(b)) for a, b in np.round(spans, 4))
    return out


def _in_trials(spans: np.ndarray, trials: Sequence[Trial], key_step: float) -> np.ndarray:
    """(h, 2) what of stretches lies in trials; less than a keyframe interval at their ends does not."""
    cut, of = within(spans, trials)
    length = np.diff(cut, axis=1)[:, 0]
    return cut[(length == np.diff(spans, axis=1)[of, 0]) | (length > key_step)]
