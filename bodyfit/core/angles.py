"""Angles over time: where they are known, without jumps of a turn, from where to where they go."""

from __future__ import annotations

import numpy as np

from .robust import BAND_95


def is_known(spread: np.ndarray | None, values: np.ndarray) -> np.ndarray:
    """Whether an angle is known: it has a value, and its 95 % band is not as wide as a turn.

    Parameters
    ----------
    spread : (T,) rad, standard deviations; None: there are none
    values : (T,) rad

    Returns
    -------
    (T,) bool
    """
    finite = np.isfinite(values)
    return finite if spread is None else finite & ~(BAND_95 * spread >= np.pi)


def unwrapped(angle: np.ndarray) -> np.ndarray:
    """An angle over time without jumps of a turn, its median within half a turn of zero.

    Parameters
    ----------
    angle : (T,) rad; NaN where it is unknown

    Returns
    -------
    (T,) rad, the same but for whole turns; from one known value to the next it changes by at most half a turn
    """
    known = np.isfinite(angle)
    out = np.array(angle, float)
    if known.any():
        whole = np.unwrap(out[known])
        out[known] = whole - 2 * np.pi * np.round(np.median(whole) / (2 * np.pi))
    return out


def extent(angle: np.ndarray, spread: np.ndarray | None) -> tuple[float, float]:
    """From where to where an angle goes while it is known, without jumps of a turn.

    Parameters
    ----------
    angle : (T,) rad
    spread : (T,) rad, standard deviations; None: there are none

    Returns
    -------
    low, high : rad; NaN where it is never known
    """
    whole = unwrapped(np.where(is_known(spread, angle), angle, np.nan))
    whole = whole[np.isfinite(whole)]
    return (float(whole.min()), float(whole.max())) if len(whole) else (np.nan, np.nan)
