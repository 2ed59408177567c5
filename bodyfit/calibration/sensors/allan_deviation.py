"""Allan deviation of still sensors, and what is read off its curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

CLUSTERS = (
    9  # fewest clusters that a deviation is made from: 25 % sure (IEEE Std 952-1997, annex C, from memory)
)
# s, the cluster time that must be reached to read at 1 s: cluster times double; by reasoning: the geometric
# mean of 0.5 and 1
READ_AT = 0.7


@dataclass(frozen=True, eq=False)
class AllanCurve:
    """Overlapping Allan deviation.

    Attributes
    ----------
    tau : (m,) s, cluster times, doubling
    deviation : (m, 3) SI, by axis
    """

    tau: np.ndarray
    deviation: np.ndarray

    @property
    def noise(self) -> np.ndarray | None:
        """(3,) white noise density, SI/√Hz, one-sided as data sheets give it; None for a curve below 1 s.

        σ = N / √τ, read at τ = 1 s, N being the random walk, whose square is the two-sided density: the
        one-sided is √2 N.

        The mean over 0.5 to 2 s; below that, filters in a chip and a person's sway show.
        """
        near = (self.tau >= 0.45) & (self.tau <= 2.2)
        if self.tau[-1] < READ_AT:
            return None
        with np.errstate(divide="ignore"):  # a sensor that reads one value has none
            walk = np.exp(np.mean(np.log(self.deviation[near] * np.sqrt(self.tau[near, None])), axis=0))
        return np.sqrt(2) * walk


def allan_curve(stretches: Sequence[np.ndarray], step: float) -> AllanCurve | None:
    """Overlapping Allan deviation of still stretches together.

    Parameters
    ----------
    stretches : each (n, 3) regular samples of a sensor that lay still, SI
    step : s between samples

    Returns
    -------
    AllanCurve, or None where no stretch holds nine clusters of one sample

    Notes
    -----
    With θ the integral of the readings, σ²(τ) = ⟨(θ_{k+2m} − 2 θ_{k+m} + θ_k)²⟩ / (2 τ²), τ = m·step, over
    all k of all stretches that hold nine clusters of length τ.

    References
    ----------
    IEEE Std 952-1997, annex C, also for how the curve is read (from memory).
    """
    longest = max((len(s) for s in stretches), default=0)
    tau, deviation = [], []
    m = 1
    while CLUSTERS * m <= longest:
        total, count = np.zeros(3), 0
        for samples in stretches:
            if CLUSTERS * m > len(samples):
                continue
            theta = np.concatenate([np.zeros((1, 3)), np.cumsum(samples - samples.mean(0), axis=0)]) * step
            second = theta[2 * m :] - 2 * theta[m:-m] + theta[: -2 * m]
            total, count = total + np.sum(second**2, axis=0), count + len(second)
        tau.append(m * step)
        deviation.append(np.sqrt(total / count / 2) / (m * step))
        m *= 2
    return AllanCurve(np.array(tau), np.array(deviation)) if tau else None
