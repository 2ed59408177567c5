"""What every residual hands to the smoother."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np


@dataclass(frozen=True, eq=False)
class Linearised:
    """E residuals of m components at every keyframe (or between neighbours), linear in the unknowns.

    Attributes
    ----------
    name : for summaries
    value : (K', E, m); K' is the number of keyframes, or of intervals for residuals between neighbours
    jacobians : (slots (E,), shift, J (K', E, m, 3)): J is the derivative with respect to the unknown
        `slots[e]` of keyframe k + shift; a shift of 1 only in residuals between neighbours
    weight : (K', E, m), one over the variance, zero where the residual does not hold
    constants : ((E, q) indices, J (K', E, m, q)): J is the derivative with respect to those of the constants,
        which are held while the smoother steps; see `constants`
    share : (K', E) in (0, 1], by which the weight is lowered because the residual is far (`huber`); None: one
    """

    name: str
    value: np.ndarray
    jacobians: tuple[tuple[np.ndarray, int, np.ndarray], ...]
    weight: np.ndarray
    constants: tuple[np.ndarray, np.ndarray] | None = None
    share: np.ndarray | None = None

    def between(self, start: int, end: int) -> Linearised:
        """Values and weights of the rows start ≤ k < end; no derivatives."""
        share = None if self.share is None else self.share[start:end]
        return Linearised(self.name, self.value[start:end], (), self.weight[start:end], share=share)

    @property
    def cost(self) -> float:
        """Half the weighted sum of squares."""
        return 0.5 * float(np.sum(self.weight * self.value**2))

    @property
    def robust_cost(self) -> float:
        """What is least at the solution: far residuals by Huber's function, not by their square.

        With share f = k σ / |r| beyond the knee k σ, w₀ (k σ |r| − k² σ² / 2) = ½ w |r|² (2 − f), w = f w₀.
        Half the weighted sum of squares at lowered weights is no function that a step makes smaller. Source:
        Huber 1964, doi:10.1214/aoms/1177703732.
        """
        if self.share is None:
            return self.cost
        each = np.sum(self.weight * self.value**2, -1)
        return 0.5 * float(np.sum(each * (2 - self.share)))


class InPieces(Protocol):
    """Residuals linearised at one point, of a stretch of keyframes at a time."""

    def piece(self, start: int, end: int) -> tuple[Sequence[Linearised], int]:
        """All that meets the keyframes start ≤ k < end, and the row at which keyframe `start` is found."""
        ...


@dataclass(frozen=True, eq=False)
class AtOnce:
    """Residuals of all keyframes, already linearised."""

    parts: Sequence[Linearised]

    def piece(self, start: int, end: int) -> tuple[Sequence[Linearised], int]:
        """All of them; keyframes are their own rows."""
        return self.parts, start


def in_pieces(residuals: Sequence[Linearised] | InPieces) -> InPieces:
    """Residuals of either kind."""
    return AtOnce(residuals) if isinstance(residuals, Sequence) else residuals
