"""Headings as a grid around the circle: probabilities on it, blurred and wrapped."""

from __future__ import annotations

import numpy as np

from ...core.cubic_spline import CubicSpline

# of a circle, 7.5° apart: below the least standard deviation of acceleration and posture, 10°; by reasoning
HEADINGS = 48
# parts of each, where all pieces are put together, for many of them multiplied leave less than a step.
# tried: on the ten-unit person, nine movements, units turned four ways: facings up to 5° apart on the grid
# itself, 0.7° with 2, 0.1° with 4, which take five times as long with 15 units
FINER = 2
LEAST = 1e-30  # probability that stands for none; by reasoning


def headings(count: int) -> np.ndarray:
    """So many headings around the circle, from zero.

    Parameters
    ----------
    count : how many

    Returns
    -------
    (count,) rad
    """
    return np.arange(count) * 2 * np.pi / count


GRID, FINE = headings(HEADINGS), headings(FINER * HEADINGS)  # rad, by definition


def finer(log: np.ndarray) -> np.ndarray:
    """Log-likelihoods of two headings, between those of the grid, too.

    Parameters
    ----------
    log : (..., HEADINGS, HEADINGS)

    Returns
    -------
    (..., F, F) on `FINE`

    Notes
    -----
    Periodic cubic splines. A logarithm is smooth even where a likelihood is narrower than the grid.
    """
    return BETWEEN @ log @ BETWEEN.T


def gathered(probability: np.ndarray) -> np.ndarray:
    """Probabilities on `FINE` as weights of the headings of the grid.

    Parameters
    ----------
    probability : (..., F)

    Returns
    -------
    (..., HEADINGS), of the same sum and mean

    Notes
    -----
    What lies between two headings goes to both, by how near they are. Likelihoods of posture, which are
    weighted so, are wider than the grid; those of accelerations and of the field need not be.
    """
    return probability @ TO_BOTH


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


# (F, HEADINGS) weights of values on the grid in those between, and of both neighbours of one between; by
# definition
BETWEEN = CubicSpline(  # periodic: once more around on either side, what an end does is gone by then
    np.concatenate([GRID - 2 * np.pi, GRID, GRID + 2 * np.pi]), np.tile(np.eye(HEADINGS), (3, 1))
)(FINE)
TO_BOTH = np.maximum(0.0, 1 - np.abs(wrapped(FINE[:, None] - GRID)) / GRID[1])


def blurred(probability: np.ndarray, sd: float | np.ndarray) -> np.ndarray:
    """Probabilities on headings around the circle, convolved with a normal distribution.

    Parameters
    ----------
    probability : (..., N)
    sd : rad

    Returns
    -------
    (..., N), not negative
    """
    N = probability.shape[-1]
    turned = np.fft.rfft(probability, axis=-1) * np.exp(-0.5 * (np.arange(N // 2 + 1) * sd) ** 2)
    return np.maximum(np.fft.irfft(turned, N, axis=-1), 0.0)


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
