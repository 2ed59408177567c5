"""What every residual hands to the smoother."""

from __future__ import annotations

from dataclasses import dataclass

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
    """

    name: str
    value: np.ndarray
    jacobians: tuple[tuple[np.ndarray, int, np.ndarray], ...]
    weight: np.ndarray
    constants: tuple[np.ndarray, np.ndarray] | None = None

    @property
    def cost(self) -> float:
        """Half the weighted sum of squares."""
        return 0.5 * float(np.sum(self.weight * self.value**2))


def huber(value: np.ndarray, sd: np.ndarray | float, knee: float = 1.5) -> np.ndarray:
    """Factor on the weight that makes far residuals count linearly.

    Parameters
    ----------
    value : (..., m) residuals
    sd : (...) or scalar, standard deviation of a component
    knee : in standard deviations; 1.5 as is common practice

    Returns
    -------
    (...) array in (0, 1]

    Notes
    -----
    min(1, knee σ / |r|). Source: Huber 1964, doi:10.1214/aoms/1177703732.
    """
    return np.minimum(1.0, knee * sd / np.maximum(np.linalg.norm(value, axis=-1), 1e-12))
