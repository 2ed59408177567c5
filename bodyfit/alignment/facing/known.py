"""What is known of which way every unit faces on its segment."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...core.rotations import heading_matrix
from .lean import Level

SURE = 0.99  # probability below which nobody is told that a unit's facing is known; chosen; not tried
NEAR = np.radians(60.0)  # of the most likely facing; what lies farther is another one; chosen; not tried
UNIFORM = np.pi / np.sqrt(3.0)  # rad, standard deviation of an angle that nothing is known of; by definition


@dataclass(frozen=True, eq=False)
class Facing:
    """Facing of U units: the turn μ about the vertical in M = Ry(μ) `level.matrix`.

    Attributes
    ----------
    level : mountings of units that face at zero
    told : (U,) bool, whether its pose is apart from the motion, so that this is what tells how it faces
    angle : (U,) rad, mean within 60° of the mode
    sd : (U,) rad, about that mean: of what lies within 60° of the mode where that is nearly all, else of all
    probability : (U,) share of the posterior within 60° of the mode
    ties : of the problem, whose headings and arms were found
    heading : (J, K + 1) rad, turn of the child's unit about the vertical beside its parent's, per such tie
    arms : (J, 2, 3) m, unit frames
    unit, pair : (U, F) and (J, F, F) log probability of facings on `grid.FINE`
    mode : (U,) index there
    second : the likeliest way in which a doubtful unit faces elsewhere, if nearly as likely; or None
    """

    level: Level
    told: np.ndarray
    angle: np.ndarray
    sd: np.ndarray
    probability: np.ndarray
    ties: tuple[int, ...]
    heading: np.ndarray
    arms: np.ndarray
    unit: np.ndarray
    pair: np.ndarray
    mode: np.ndarray
    second: Facing | None = None

    @property
    def mounting(self) -> np.ndarray:
        """(U, 3, 3) segment_from_unit at the mean facing."""
        return heading_matrix(self.angle) @ self.level.matrix

    @property
    def sure(self) -> np.ndarray:
        """(U,) bool, told and known."""
        return self.told & (self.probability >= SURE)

    @property
    def doubtful(self) -> np.ndarray:
        """(U,) bool, told and not known."""
        return self.told & (self.probability < SURE)
