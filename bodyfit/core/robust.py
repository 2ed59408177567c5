"""Robust statistics: standard deviations and weighted sums that outliers do not move."""

from __future__ import annotations

import numpy as np

from .rotations import vector_norm

BAND_95 = 1.959963984540054  # standard deviations to either side that hold 95 % of a normal; by definition
NORMAL_MEDIAN = 0.6745  # median of |x| of a standard normal distribution; by definition, to four digits
SD_BY_MEDIAN = 1.4826  # its inverse; by definition, to five digits


def normal_sums(A: np.ndarray, w: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Normal equations of weighted rows: Σ w AᵀA and Σ w Aᵀz.

    Parameters
    ----------
    A : (k, m, n)
    w : (k,)
    z : (k, m)

    Returns
    -------
    (n, n) and (n,)
    """
    flat, weighted = A.reshape(-1, A.shape[-1]), (A * w[:, None, None]).reshape(-1, A.shape[-1])
    return weighted.T @ flat, weighted.T @ z.ravel()


def robust_sd(values: np.ndarray, least: np.ndarray | float) -> np.ndarray:
    """Standard deviation of a component by the median absolute value, along the first axis.

    Parameters
    ----------
    values : (k, J, m)
    least : lower bound

    Returns
    -------
    (J,) array
    """
    middle = np.median(np.abs(values), axis=0)
    return np.maximum(least, SD_BY_MEDIAN * np.sqrt(np.mean(middle**2, axis=-1)))


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
    return np.minimum(1.0, knee * sd / np.maximum(vector_norm(value), 1e-12))
