"""Mountings by gravity in a pose, put right by where joints lie: along a segment, one is beyond the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...core.rotations import UP, smallest_rotation
from .arms import Lean


@dataclass(frozen=True, eq=False)
class Level:
    """How U units sit, but for which way they face.

    Attributes
    ----------
    matrix : (U, 3, 3) segment_from_unit, right but for a turn about the segment's Y
    sd : (U,) rad, of its turns about horizontal axes; NaN where neither gravity nor anybody tells
    leant : (U,) rad, how far each segment stood askew in the pose, as far as joints show it
    askew : how much worse the pose was held than people usually do, one at least
    """

    matrix: np.ndarray
    sd: np.ndarray
    leant: np.ndarray
    askew: float = 1.0

    @property
    def known(self) -> np.ndarray:
        """(U,) bool."""
        return np.isfinite(self.sd)


def righted(level: Level, lean: Lean) -> Level:
    """The same with segments standing as their joints show.

    Parameters
    ----------
    level : by gravity in the pose
    lean : where length axes point there

    Returns
    -------
    Level, turned by the smallest rotations that bring these axes upright
    """
    matrix, sd, leant = level.matrix.copy(), lean.askew * level.sd, level.leant.copy()
    up = np.stack([lean.toward[:, 0], np.ones(len(lean.units)), lean.toward[:, 1]], -1)
    matrix[lean.units] = smallest_rotation(up, UP) @ matrix[lean.units]
    sd[lean.units] = lean.sd
    leant[lean.units] = np.arctan(np.linalg.norm(lean.toward, axis=-1))
    return Level(matrix, sd, leant, lean.askew)
