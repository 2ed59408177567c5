"""Trials: recordings of one wearer that share one time line, with pauses in which nothing was recorded."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

# s, least pause between trials: what is carried of a pause lasts 3.8 s at 2 Hz (pauses.py); by reasoning
PAUSE_S = 5.0


@dataclass(frozen=True)
class Trial:
    """One recording of several in a capture.

    Attributes
    ----------
    name : as in setup.toml
    start, end : s of the capture's clock, of its first and last stamp
    start_time : moment of `start`, where stamps are dates
    """

    name: str
    start: float
    end: float
    start_time: datetime | None = None

    def as_data(self) -> dict[str, object]:
        """The trial as JSON-ready data."""
        moment = None if self.start_time is None else self.start_time.isoformat()
        return {"name": self.name, "start_s": self.start, "end_s": self.end, "start_time": moment}


def start_after(end: float) -> float:
    """First stamp of the trial after one that ends at `end`: a whole second, after a pause; s."""
    return float(math.ceil(end + PAUSE_S))


def between(trials: Sequence[Trial], start: float, end: float) -> tuple[Trial, ...]:
    """What of the trials lies in start ≤ time ≤ end (s)."""
    cut = (dataclasses.replace(t, start=max(t.start, start), end=min(t.end, end)) for t in trials)
    return tuple(trial for trial in cut if trial.start < trial.end)


def within(spans: np.ndarray, trials: Sequence[Trial]) -> tuple[np.ndarray, np.ndarray]:
    """What of some stretches lies within trials, pauses between them left out.

    Parameters
    ----------
    spans : (g, 2) s, start and end
    trials : of the capture; none: it is one recording, and nothing is left out

    Returns
    -------
    (h, 2) s, in the order of `spans`, and (h,) which of `spans` each is part of
    """
    if not trials:
        return spans, np.arange(len(spans))
    of = np.array([[trial.start, trial.end] for trial in trials])
    low = np.maximum(spans[:, None, 0], of[:, 0])
    high = np.minimum(spans[:, None, 1], of[:, 1])
    row, column = np.nonzero(low < high)
    return np.stack([low[row, column], high[row, column]], -1), row
