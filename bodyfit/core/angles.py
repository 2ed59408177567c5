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
    (T,) rad, the same but for whole turns; while it is known it changes by at most half a turn from one value
    to the next. Nobody counted turns while it was unknown, so each known stretch has its median within half a
    turn of the mean direction of all that is known
    """
    known = np.isfinite(angle)
    out = np.array(angle, float)
    if known.any():
        starts = np.flatnonzero(known & ~np.insert(known[:-1], 0, False))
        ends = np.flatnonzero(known & ~np.append(known[1:], False)) + 1
        middle = float(np.angle(np.mean(np.exp(1j * out[known]))))
        for start, end in zip(starts, ends, strict=True):
            out[start:end] = _near(np.unwrap(out[start:end]), middle)
        out[known] = _near(out[known], 0.0)
    return out


def _near(angle: np.ndarray, middle: float) -> np.ndarray:
    """An angle, turned by whole turns so that its median is within half a turn of another."""
    return angle - 2 * np.pi * np.round((np.median(angle) - middle) / (2 * np.pi))


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
