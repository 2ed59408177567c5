"""Pieces of a recording: stretches without a long gap, cut at a few seconds, the pose by itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Pieces:
    """Pieces of one joint, S of them, over n keyframes one after the other.

    Attributes
    ----------
    at : (n,) keyframes
    first, count : (S,) where each piece starts in `at`, and how many keyframes it has
    of : (n,) piece that each entry belongs to
    continued : (S,) bool, whether no gap lies between it and the one before
    posed : (S,) bool, whether it is the declared pose
    tilt : (S,) rad, standard deviation of an inclination that the start filter found there
    """

    at: np.ndarray
    first: np.ndarray
    count: np.ndarray
    of: np.ndarray
    continued: np.ndarray
    posed: np.ndarray
    tilt: np.ndarray

    def keyframes(self, piece: int) -> np.ndarray:
        """Keyframes of one piece."""
        return self.at[self.first[piece] : self.first[piece] + self.count[piece]]

    def sums(self, values: np.ndarray) -> np.ndarray:
        """(S, ...) sums over each piece of (n, ...)."""
        return np.add.reduceat(values, self.first, axis=0)

    @property
    def stretch(self) -> np.ndarray:
        """(S,) number of the stretch without a gap that each piece lies in, from zero."""
        return np.cumsum(~self.continued) - 1
