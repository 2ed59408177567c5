"""What a real sensor makes of the true signal: scale, axes, bias, noise, full scale, clock, lost samples."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class SensorError:
    """One three-axis sensor as it was drawn.

    Attributes
    ----------
    matrix : (3, 3), true signal -> read signal: scale on the diagonal, axis misalignment beside it
    bias : (N, 3) SI
    noise : (N, 3) SI
    full_scale : SI; no axis reads beyond ± this
    """

    matrix: np.ndarray
    bias: np.ndarray
    noise: np.ndarray
    full_scale: float = math.inf

    def read(self, signal: np.ndarray) -> np.ndarray:
        """What the sensor reads, (N, 3) SI, for the true `signal` in the unit frame."""
        return np.clip(signal @ self.matrix.T + self.bias + self.noise, -self.full_scale, self.full_scale)


def drawn_error(
    rng: np.random.Generator,
    count: int,
    dt: float,
    *,
    noise: float,
    bias_sd: float,
    bias_walk: float = 0.0,
    scale_sd: float = 0.0,
    misalignment_sd: float = 0.0,
    full_scale: float = math.inf,
) -> SensorError:
    """A sensor drawn at random.

    Parameters
    ----------
    rng : the draws are the same whatever the sizes, so one setting can be changed and the rest kept
    count, dt : samples, s between them
    noise : standard deviation of one sample, SI
    bias_sd : of the bias at the start, SI
    bias_walk : SI / √s, the bias grows as a random walk
    scale_sd : relative
    misalignment_sd : rad

    Returns
    -------
    error : ready to `read`
    """
    axes = misalignment_sd * rng.standard_normal((3, 3))
    np.fill_diagonal(axes, scale_sd * rng.standard_normal(3))
    start = bias_sd * rng.standard_normal(3)
    steps = bias_walk * math.sqrt(dt) * rng.standard_normal((count, 3))
    steps[0] = 0.0
    white = noise * rng.standard_normal((count, 3))
    return SensorError(np.eye(3) + axes, start + np.cumsum(steps, axis=0), white, full_scale)


def white_sd(density: float, sampling_frequency: float) -> float:
    """Standard deviation of one sample of white noise.

    Parameters
    ----------
    density : SI / √Hz, one-sided as data sheets give it
    sampling_frequency : Hz

    Returns
    -------
    sd : density × √(sampling_frequency / 2), SI: the noise from 0 to half the sampling frequency

    References
    ----------
    IEEE Std 952-1997, annex C (from memory): the angle random walk N is defined by a two-sided density N², so
    N = density / √2; over a cluster of length τ the deviation is N / √τ; one sample is τ = 1 / fs.
    """
    return density * math.sqrt(sampling_frequency / 2)


def lost(rng: np.random.Generator, count: int, share: float, run: int = 5) -> np.ndarray:
    """Which samples never arrived: runs of `run` samples, as lost radio packets leave them.

    Parameters
    ----------
    rng : source of the places
    count : samples
    share : expected share lost, 0 to 1
    run : samples lost at once; runs may overlap

    Returns
    -------
    lost : (count,) bool
    """
    start = rng.random(count + run - 1) < 1 - (1 - share) ** (1 / run)
    return np.convolve(start, np.ones(run), "valid") > 0.5
