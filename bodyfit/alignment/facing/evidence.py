"""A pose parted from the motion, and how a unit is found to face, as evidence on how it sits."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...core.rotations import UP
from ..evidence import Blocks, Evidence, Guess, SharedAxis, across_axis, turn_onto
from .known import UNIFORM, Facing
from .lean import Level

# rad, deviation of a facing of which nothing is known: its mean only says where to start; by reasoning
NOTHING = 10.0
# cosine between a seen axis and where the facing puts it, from which its sense is known; chosen; not tried
CLEAR = 0.5


@dataclass(frozen=True, eq=False)
class HeldLevel:
    """A unit in a pose whose heading says nothing: its up and the segment's are one direction.

    Attributes
    ----------
    pose : index of the pose
    unit : whose
    up : (3,) unit frame, mean over the pose
    segment_up : (3,) segment frame, as the pose has it
    sd : rad, how well the pose is held
    moved : rad², mean square turn during the pose
    """

    pose: int
    unit: int
    up: np.ndarray
    segment_up: np.ndarray
    sd: float
    source: str = "still pose"
    moved: float = 0.0

    @property
    def units(self) -> tuple[int, ...]:
        """The one unit."""
        return (self.unit,)

    def residual(self, at: Guess) -> tuple[np.ndarray, Blocks, np.ndarray]:
        """See `_onto`."""
        return _onto(at, self.unit, self.up, self.segment_up, self.sd)

    def directions(self, at: Guess) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """Up."""
        return [(self.unit, self.up[None], self.segment_up[None], np.array([self.sd**-2.0]))]


@dataclass(frozen=True, eq=False)
class ShownLength:
    """A unit whose segment's joints show where its length axis, Y, points.

    Attributes
    ----------
    unit : whose
    along : (3,) unit frame
    sd : rad
    leant : rad, how far the segment stood askew in the pose
    """

    unit: int
    along: np.ndarray
    sd: float
    leant: float
    source: str = "joints"

    @property
    def units(self) -> tuple[int, ...]:
        """The one unit."""
        return (self.unit,)

    def residual(self, at: Guess) -> tuple[np.ndarray, Blocks, np.ndarray]:
        """See `_onto`."""
        return _onto(at, self.unit, self.along, UP, self.sd)

    def directions(self, at: Guess) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """The length axis."""
        return [(self.unit, self.along[None], UP[None], np.array([self.sd**-2.0]))]


@dataclass(frozen=True, eq=False)
class KnownFacing:
    """How a unit faces by joints and usual posture: the turn about the segment's Y of M against `matrix`.

    Attributes
    ----------
    unit : whose
    matrix : (3, 3) segment_from_unit at the mean facing
    sd : rad
    """

    unit: int
    matrix: np.ndarray
    sd: float
    source: str = "usual posture"

    @property
    def units(self) -> tuple[int, ...]:
        """The one unit."""
        return (self.unit,)

    def residual(self, at: Guess) -> tuple[np.ndarray, Blocks, np.ndarray]:
        """Angle about Y of E = M matrixᵀ, atan2(E₀₂ − E₂₀, E₀₀ + E₂₂); ∂/∂φ = (0, 1, 0) at a small tilt."""
        E = at.mounting[self.unit] @ self.matrix.T
        off = np.arctan2(E[0, 2] - E[2, 0], E[0, 0] + E[2, 2])
        return np.array([off]), [("mounting", self.unit, np.array([[0.0, 1.0, 0.0]]))], np.eye(1) * self.sd**2

    def directions(self, at: Guess) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """Forward and right."""
        return [(self.unit, self.matrix[[0, 2]], np.eye(3)[[0, 2]], np.full(2, 0.5 / self.sd**2))]


def _onto(
    at: Guess, unit: int, seen: np.ndarray, axis: np.ndarray, sd: float
) -> tuple[np.ndarray, Blocks, np.ndarray]:
    """Smallest turn that carries M seen onto the segment's axis, across it; ∂/∂φ = −I there."""
    plane = across_axis(axis)
    off = plane @ turn_onto(at.mounting[unit] @ seen, axis)
    return off, [("mounting", unit, -plane)], sd**2 * np.eye(2)


def length_evidence(level: Level) -> list[Evidence]:
    """Where the length axis of every segment points whose joints tell.

    Parameters
    ----------
    level : as found

    Returns
    -------
    list of ShownLength
    """
    return [
        ShownLength(u, level.along[u], float(level.along_sd[u]), float(level.leant[u]))
        for u in map(int, np.flatnonzero(np.isfinite(level.along_sd)))
    ]


def facing_evidence(facing: Facing) -> list[Evidence]:
    """How every unit that is told faces, as far as that is more than nothing.

    Parameters
    ----------
    facing : as found

    Returns
    -------
    list of KnownFacing

    Notes
    -----
    Nothing is an even circle, whose deviation is π / √3: its information is taken off, 1/σ² − 3/π².
    """
    matrix = facing.mounting
    sd = np.minimum(NOTHING, np.maximum(facing.sd**-2.0 - UNIFORM**-2.0, NOTHING**-2.0) ** -0.5)
    source = np.where(facing.sure, "usual posture", "")
    return [
        KnownFacing(u, matrix[u], float(sd[u]), str(source[u])) for u in map(int, np.flatnonzero(facing.told))
    ]


def with_senses(evidence: Sequence[Evidence], facing: Facing) -> list[Evidence]:
    """Axes turned to the sense that facings tell; those of units whose facing is not known are left out.

    A movement that was declared keeps its own sense, which does not rest on the pose.

    Parameters
    ----------
    evidence : of any kind
    facing : as found

    Returns
    -------
    list of Evidence
    """
    matrix, out = facing.mounting, list[Evidence]()
    for e in evidence:
        told = [u for u in e.units if facing.told[u]] if isinstance(e, SharedAxis) else []
        if not isinstance(e, SharedAxis) or not told or e.source == "movement":
            out.append(e)
            continue
        along = [float(matrix[u] @ e.seen[e.units.index(u)] @ e.axis) for u in told]
        if not facing.doubtful[list(e.units)].any() and min(np.abs(along)) > CLEAR:
            out.append(dataclasses.replace(e, seen=np.sign(sum(along)) * e.seen, signed=True))
    return out
