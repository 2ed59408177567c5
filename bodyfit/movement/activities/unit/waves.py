"""Windows of signals, their autocorrelation and its peaks."""

from __future__ import annotations

import numpy as np

TINY = 1e-9  # (m/s²)²: by reasoning, far below any sensor's noise


def windows(values: np.ndarray, centres: np.ndarray, half: int) -> np.ndarray:
    """Pieces of signals about some samples; beyond the ends the first and last sample stand.

    Parameters
    ----------
    values : (N, ...) array
    centres : (T,) int
    half : samples before and from each centre

    Returns
    -------
    (T, 2 half, ...) array
    """
    padded = np.pad(values, ((half, half),) + ((0, 0),) * (values.ndim - 1), mode="edge")
    return padded[centres[:, None] + np.arange(2 * half)]


def autocorrelation(pieces: np.ndarray) -> np.ndarray:
    """How alike pieces are to themselves later: unbiased, 1 at lag zero.

    Parameters
    ----------
    pieces : (T, n) array

    Returns
    -------
    (T, n) array
    """
    pieces = pieces - pieces.mean(1, keepdims=True)
    n = pieces.shape[1]
    power = np.abs(np.fft.rfft(pieces, 2 * n, axis=1)) ** 2
    out = np.fft.irfft(power, axis=1)[:, :n] / np.arange(n, 0, -1) * n
    return out / np.maximum(out[:, :1], TINY)


def highest_peak(correlation: np.ndarray, shortest: float, longest: float) -> tuple[np.ndarray, np.ndarray]:
    """The highest local maximum between two lags.

    Parameters
    ----------
    correlation : (T, n) of `autocorrelation`
    shortest, longest : lags, samples

    Returns
    -------
    (T,) its height, -0.2 where there is none, and (T,) its lag, samples
    """
    first = int(shortest)
    part = correlation[:, first : int(longest)]
    inner = part[:, 1:-1]
    tops = np.where((inner >= part[:, :-2]) & (inner >= part[:, 2:]), inner, -1.0)
    at = tops.argmax(1)
    return tops[np.arange(len(tops)), at].clip(-0.2, 1), at + first + 1
