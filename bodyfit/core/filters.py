"""Filters over time."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, sosfiltfilt


def low_passed(values: np.ndarray, frequency: float, cutoff: float | None) -> np.ndarray:
    """Signals without what lies above `cutoff`, no delay: Butterworth, order 4, run both ways.

    Parameters
    ----------
    values : (T, n) array, evenly sampled at `frequency` (Hz)
    cutoff : Hz; None or 0 keep all; above 0.45 × frequency nothing is left to remove

    Returns
    -------
    (T, n) array
    """
    if not cutoff or cutoff > 0.45 * frequency:
        return values
    return sosfiltfilt(butter(4, cutoff, fs=frequency, output="sos"), values, axis=0)
