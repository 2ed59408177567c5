"""Evidence on how units sit: what each kind says about mountings, as residuals with their covariance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from ..core.rotations import UP, heading_matrix, left_jacobian_inverse, log, skew

Blocks = Sequence[tuple[str, int, np.ndarray]]


@dataclass(frozen=True, eq=False)
class Guess:
    """Where the fusion stands.

    Attributes
    ----------
    mounting : (U, 3, 3) segment_from_unit; a step φ turns it to Exp(φ) M
    facing : (H,) rad, heading of the body in each held pose
    place : (U, 3) m, origin of each unit in its segment's frame
    """

    mounting: np.ndarray
    facing: np.ndarray
    place: np.ndarray


class Evidence(Protocol):
    """One thing that is known: a residual, its Jacobian by unknown, and its covariance."""

    @property
    def source(self) -> str:
        """What it is, in words; ends up in `Mounting.sources`."""
        ...

    @property
    def units(self) -> tuple[int, ...]:
        """Whose mounting it is about."""
        ...

    def residual(self, at: Guess) -> tuple[np.ndarray, Blocks, np.ndarray]:
        """Residual (m,), Jacobian blocks as (unknown, index, (m, n)), covariance (m, m)."""
        ...

    def directions(self, at: Guess) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """Pairs for a start: unit, vectors (n, 3) in its frame, the same in its segment's, weights (n,)."""
        ...


@dataclass(frozen=True, eq=False)
class GivenMounting:
    """A mounting stated with the capture: Log(M M_givenᵀ), segment frame.

    Attributes
    ----------
    unit : whose
    matrix : (3, 3) segment_from_unit
    sd : rad
    shared : whether it is as carefully stated as the others, so that they tell of each other's error
    """

    unit: int
    matrix: np.ndarray
    sd: float
    source: str = "given"
    shared: bool = True

    @property
    def units(self) -> tuple[int, ...]:
        """The one unit."""
        return (self.unit,)

    def residual(self, at: Guess) -> tuple[np.ndarray, Blocks, np.ndarray]:
        """∂Log(Exp(φ) E)/∂φ = J_l⁻¹."""
        off = log(at.mounting[self.unit] @ self.matrix.T)
        return off, [("mounting", self.unit, left_jacobian_inverse(off))], self.sd**2 * np.eye(3)

    def directions(self, at: Guess) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """Its three axes."""
        return [(self.unit, np.eye(3), self.matrix.T, np.full(3, 0.5 / self.sd**2))]


@dataclass(frozen=True, eq=False)
class HeldPose:
    """A unit in a pose of the body: Log(Ry(−ψ) R Mᵀ Sᵀ), world frame turned to where the body faces.

    Attributes
    ----------
    pose : index of the pose, whose heading ψ all its units share
    unit : whose
    R : (3, 3) world_from_unit, mean over the pose
    segment : (3, 3) S, world_from_segment when the body faces +X
    sd : (3,) rad: how well the pose is held, tilt about X, heading, tilt about Z
    moved : rad², mean square turn during the pose
    """

    pose: int
    unit: int
    R: np.ndarray
    segment: np.ndarray
    sd: np.ndarray
    source: str = "still pose"
    moved: float = 0.0

    @property
    def units(self) -> tuple[int, ...]:
        """The one unit."""
        return (self.unit,)

    def residual(self, at: Guess) -> tuple[np.ndarray, Blocks, np.ndarray]:
        """∂/∂φ = −J_r⁻¹ S, ∂/∂ψ = −J_l⁻¹ ŷ."""
        turned = heading_matrix(-at.facing[self.pose]) @ self.R
        off = log(turned @ at.mounting[self.unit].T @ self.segment.T)
        J = left_jacobian_inverse(off)
        blocks = [("mounting", self.unit, -J.T @ self.segment), ("facing", self.pose, -(J @ UP)[:, None])]
        return off, blocks, np.diag(self.sd**2)

    def directions(self, at: Guess) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """Up, forward and right as unit and segment see them."""
        weight = 0.5 * (np.sum(self.sd**-2.0) - 2 * self.sd**-2.0)
        seen = heading_matrix(-at.facing[self.pose]) @ self.R
        return [(self.unit, seen, self.segment, np.maximum(weight, 1e-3 * self.sd**-2.0))]


@dataclass(frozen=True, eq=False)
class SharedAxis:
    """A joint axis that the motion shows in both units and the model in both segments.

    Attributes
    ----------
    units : parent, child
    seen : (2, 3) unit vectors in the unit frames
    covariance : (6, 6) rad² of the two, stacked
    axis : (3,) the same in both segment frames, neutral pose
    sd : (2,) rad, how far it lies from that: alike in both segments, since bones are not made to frames, and
        in each by itself, what the joint turns beside its axis
    signed : whether its sense is known too
    """

    units: tuple[int, int]
    seen: np.ndarray
    covariance: np.ndarray
    axis: np.ndarray
    sd: np.ndarray
    signed: bool
    source: str = "joint axis"

    @cached_property
    def _plane(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Two directions across the axis (2, 3), how they see it tilt (2, 3), its covariance there (4, 4)."""
        across = across_axis(self.axis)
        own = np.kron(self.sd[0] ** 2 + self.sd[1] ** 2 * np.eye(2), np.eye(2))
        return across, across @ skew(self.axis), own

    def residual(self, at: Guess) -> tuple[np.ndarray, Blocks, np.ndarray]:
        """Smallest turn that carries M d onto the axis, in the plane across it; ∂/∂φ = −I there."""
        across, tilted, own = self._plane
        off, covariance = [], np.zeros((4, 6))
        for side, unit in enumerate(self.units):
            M = at.mounting[unit]
            off.append(across @ turn_onto(M @ self.seen[side], self.axis))
            covariance[2 * side : 2 * side + 2, 3 * side : 3 * side + 3] = tilted @ M
        blocks = [
            ("mounting", unit, np.concatenate([-across * (side == 0), -across * (side == 1)]))
            for side, unit in enumerate(self.units)
        ]
        return np.concatenate(off), blocks, covariance @ self.covariance @ covariance.T + own

    def directions(self, at: Guess) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """The axis at either end."""
        variance = [
            np.trace(self.covariance[3 * side : 3 * side + 3, 3 * side : 3 * side + 3]) / 2
            + self.sd @ self.sd
            for side in (0, 1)
        ]
        return [
            (unit, self.seen[side][None], self.axis[None], np.array([1 / variance[side]]))
            for side, unit in enumerate(self.units)
        ]


@dataclass(frozen=True, eq=False)
class SharedCentre:
    """A joint centre that the motion shows as lever arms and the model in the segments: M r + p − c.

    Attributes
    ----------
    units : parent, child
    levers : (2, 3) m, unit frames, from the motion alone
    covariance : (6, 6) m²
    centres : (2, 3) m in the segment frames, NaN where unknown
    sd : m, of a centre's component
    """

    units: tuple[int, int]
    levers: np.ndarray
    covariance: np.ndarray
    centres: np.ndarray
    sd: float
    source: str = "joint centres"

    def residual(self, at: Guess) -> tuple[np.ndarray, Blocks, np.ndarray]:
        """∂(Exp(φ) M r)/∂φ = −[M r]×, ∂/∂p = I; an end whose centre is unknown is left out."""
        known = np.repeat(np.isfinite(self.centres[:, 0]), 3)
        off, blocks, turn = np.zeros(6), [], np.zeros((6, 6))
        for side, unit in enumerate(self.units):
            own = slice(3 * side, 3 * side + 3)
            arm = at.mounting[unit] @ self.levers[side]
            off[own] = arm + at.place[unit] - np.nan_to_num(self.centres[side])
            for name, J in (("mounting", -skew(arm)), ("place", np.eye(3))):
                whole = np.zeros((6, 3))
                whole[own] = J
                blocks.append((name, unit, whole[known]))
            turn[own, own] = at.mounting[unit]
        covariance = turn @ self.covariance @ turn.T + self.sd**2 * np.eye(6)
        return off[known], blocks, covariance[np.ix_(known, known)]

    def directions(self, at: Guess) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """None by itself: where the unit sits decides, too."""
        return []


@dataclass(frozen=True, eq=False)
class KnownPlace:
    """Where a unit sits on its segment, as stated: mean (3,) m and covariance (3, 3) m²."""

    unit: int
    mean: np.ndarray
    covariance: np.ndarray
    source: str = ""

    @property
    def units(self) -> tuple[int, ...]:
        """None: it says nothing of a mounting by itself."""
        return ()

    def residual(self, at: Guess) -> tuple[np.ndarray, Blocks, np.ndarray]:
        """P − p₀."""
        return at.place[self.unit] - self.mean, [("place", self.unit, np.eye(3))], self.covariance

    def directions(self, at: Guess) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """None."""
        return []


@dataclass(frozen=True, eq=False)
class FixedTogether:
    """Two segments that do not turn against each other: Log(M_p R_pᵀ R_c M_cᵀ).

    Attributes
    ----------
    units : parent, child
    relative : (3, 3) mean of R_pᵀ R_c
    sd : rad
    """

    units: tuple[int, int]
    relative: np.ndarray
    sd: float
    source: str = "fixed joint"

    def residual(self, at: Guess) -> tuple[np.ndarray, Blocks, np.ndarray]:
        """∂/∂φ_p = J_l⁻¹, ∂/∂φ_c = −J_r⁻¹."""
        p, c = self.units
        off = log(at.mounting[p] @ self.relative @ at.mounting[c].T)
        J = left_jacobian_inverse(off)
        return off, [("mounting", p, J), ("mounting", c, -J.T)], self.sd**2 * np.eye(3)

    def directions(self, at: Guess) -> list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]:
        """The child's axes, as the parent's mounting has them."""
        p, c = self.units
        return [(c, self.relative.T, at.mounting[p].T, np.full(3, 0.5 / self.sd**2))]


def across_axis(axis: np.ndarray) -> np.ndarray:
    """Two directions across an axis.

    Parameters
    ----------
    axis : (3,) length one

    Returns
    -------
    (2, 3) unit vectors
    """
    return np.linalg.svd(axis[None])[2][1:]


def turn_onto(v: np.ndarray, axis: np.ndarray) -> np.ndarray:
    """Smallest turn that carries a direction onto an axis; any one where they are opposite.

    Parameters
    ----------
    v, axis : (3,) length one

    Returns
    -------
    (3,) rotation vector, rad
    """
    normal = skew(v) @ axis
    sine = np.linalg.norm(normal)
    angle = np.arctan2(sine, v @ axis)
    return normal * (angle / sine) if sine > 1e-9 else across_axis(axis)[0] * angle
