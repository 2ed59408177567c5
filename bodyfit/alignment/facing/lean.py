"""Mountings by gravity in a pose, put right by where joints lie: along a segment, one is beyond the other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...core.rotations import UP, smallest_rotation
from .arms import Lean

TELLS = 0.01  # share of what is known beforehand below which joints tell nothing; by reasoning


@dataclass(frozen=True, eq=False)
class Level:
    """How U units sit, but for which way they face.

    Attributes
    ----------
    matrix : (U, 3, 3) segment_from_unit, right but for a turn about the segment's Y
    sd : (U,) rad, of its turns about horizontal axes; NaN where neither gravity nor anybody tells
    posed : (U,) bool, whether gravity in the pose tells
    along : (U, 3) unit frame, direction of the segment's length by its joints alone
    along_sd : (U,) rad; NaN where joints don't tell
    leant : (U,) rad, how far each segment stood askew in the pose, as far as that is known now
    askew : how much worse the pose was held than people usually do, one at least
    """

    matrix: np.ndarray
    sd: np.ndarray
    posed: np.ndarray
    along: np.ndarray
    along_sd: np.ndarray
    leant: np.ndarray
    askew: float = 1.0

    @property
    def known(self) -> np.ndarray:
        """(U,) bool."""
        return np.isfinite(self.sd)


def by_gravity(matrix: np.ndarray, sd: np.ndarray, posed: np.ndarray) -> Level:
    """Mountings before joints have told of them.

    Parameters
    ----------
    matrix : (U, 3, 3) segment_from_unit
    sd : (U,) rad
    posed : (U,) bool

    Returns
    -------
    Level
    """
    U = len(sd)
    return Level(matrix, sd, posed, np.tile(UP, (U, 1)), np.full(U, np.nan), np.zeros(U))


def righted(level: Level, lean: Lean) -> Level:
    """The same with segments standing as their joints show.

    Parameters
    ----------
    level : by gravity in the pose
    lean : where length axes point there

    Returns
    -------
    Level, turned by the smallest rotations that bring these axes upright

    Notes
    -----
    What joints say alone is what a lean is known by less its prior: 1/σ_j² = 1/σ² − 1/σ₀², l_j = l σ_j²/σ².
    """
    own, matrix, leant = lean.units, level.matrix.copy(), level.leant.copy()
    sd = np.where(level.posed, lean.askew, 1.0) * level.sd
    shown = lean.sd**-2.0 - sd[own] ** -2.0
    shown = np.where(shown > TELLS * sd[own] ** -2.0, shown, np.nan)
    along, along_sd = level.along.copy(), level.along_sd.copy()
    alone = _rising(lean.toward / (lean.sd**2 * shown)[:, None])
    along[own] = np.einsum("tba,tb->ta", matrix[own], alone / np.linalg.norm(alone, axis=-1, keepdims=True))
    along_sd[own] = shown**-0.5
    matrix[own] = smallest_rotation(_rising(lean.toward), UP) @ matrix[own]
    sd[own], leant[own] = lean.sd, np.arctan(np.linalg.norm(lean.toward, axis=-1))
    return replace(level, matrix=matrix, sd=sd, along=along, along_sd=along_sd, leant=leant, askew=lean.askew)


def _rising(toward: np.ndarray) -> np.ndarray:
    """(T, 3) vectors that rise by one and go so far (T, 2) forward and sideways."""
    return np.stack([toward[:, 0], np.ones(len(toward)), toward[:, 1]], -1)
