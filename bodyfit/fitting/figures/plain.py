"""Arrays as the tuples of numbers that figures are."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from ...results.kinds import Figure

DECIMALS = 6  # a millionth of a radian, metre or degree: far below what any figure is known to; by reasoning


def rounded(values: np.ndarray) -> Any:
    """Nested tuples, rounded to a millionth; None where a number is not finite.

    Parameters
    ----------
    values : array of any shape

    Returns
    -------
    nested tuples of that shape
    """
    return exact(np.round(values, DECIMALS))


def exact(values: np.ndarray) -> Any:
    """Nested tuples, None where a number is not finite.

    Parameters
    ----------
    values : array of any shape

    Returns
    -------
    nested tuples of that shape
    """
    return tuple(map(exact, values)) if np.ndim(values) else figure(values)


def figure(value: Any) -> Figure:
    """A number, or None where it is not finite."""
    return float(value) if np.isfinite(value) else None


def spans(pairs: Iterable[Iterable[float]], decimals: int | None = None) -> tuple[tuple[float, float], ...]:
    """(start, end) of stretches, s, rounded to so many decimals."""
    kept = ((float(a), float(b)) for a, b in pairs)
    return tuple((a, b) if decimals is None else (round(a, decimals), round(b, decimals)) for a, b in kept)
