"""Headings as a grid around the circle: probabilities on it, blurred and wrapped."""

from __future__ import annotations

import numpy as np

# of a circle, 7.5° apart: below the least standard deviation of acceleration and posture, 10°; by reasoning
HEADINGS = 48
GRID = np.arange(HEADINGS) * 2 * np.pi / HEADINGS  # rad, by definition
LEAST = 1e-30  # probability that stands for none; by reasoning


def wrapped(angle: np.ndarray) -> np.ndarray:
    """Angles within half a turn of zero.

    Parameters
    ----------
    angle : (...) rad

    Returns
    -------
    (...) rad, in [−π, π], as precise as given
    """
    return angle - 2 * np.pi * np.rint(angle / (2 * np.pi))


def blurred(probability: np.ndarray, sd: float | np.ndarray) -> np.ndarray:
    """Probabilities on the grid, convolved with a normal distribution.

    Parameters
    ----------
    probability : (..., HEADINGS)
    sd : rad, one, or (..., 1)

    Returns
    -------
    (..., HEADINGS), not negative
    """
    kernel = np.exp(-0.5 * (wrapped(GRID) / sd) ** 2)
    turned = np.fft.rfft(probability, axis=-1) * np.fft.rfft(kernel / kernel.sum(-1, keepdims=True), axis=-1)
    return np.maximum(np.fft.irfft(turned, HEADINGS, axis=-1), 0.0)


def walked(probability: np.ndarray, sd: float) -> np.ndarray:
    """Probabilities of a heading after a small random step.

    Parameters
    ----------
    probability : (HEADINGS, ...)
    sd : rad, of the step; a part goes to either neighbour on the grid so that the variance is right

    Returns
    -------
    (HEADINGS, ...)
    """
    share = min(0.3, 0.5 * (sd * HEADINGS / (2 * np.pi)) ** 2)
    beside = np.roll(probability, 1, 0) + np.roll(probability, -1, 0)
    return (1 - 2 * share) * probability + share * beside
