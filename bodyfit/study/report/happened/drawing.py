"""Still pictures as SVG markup: scales, lines, bands, labels; looks are classes of the style sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ....core.intervals import runs
from ...pages.ticks import ticks
from ..words import safe


@dataclass(frozen=True)
class Scale:
    """A straight scale from values to places in a picture.

    Attributes
    ----------
    low, high : values at its ends
    start, end : places of these ends
    """

    low: float
    high: float
    start: float
    end: float

    def at(self, value: np.ndarray | float) -> np.ndarray:
        """Places of values."""
        share = (np.asarray(value, float) - self.low) / ((self.high - self.low) or 1.0)
        return self.start + share * (self.end - self.start)

    def ticks(self, most: int) -> list[tuple[float, str]]:
        """Places and texts of round values."""
        span = self.end - self.start
        return [(self.start + tick.at * span, tick.text) for tick in ticks(self.low, self.high, most)]


def picture(width: float, height: float, label: str, content: Sequence[str], looks: str = "") -> str:
    """An SVG element that is one picture to a reader of screens.

    Parameters
    ----------
    width, height : of its own units
    label : what it shows, in words
    content : markup inside
    looks : further classes
    """
    return (
        f'<svg class="still {looks}" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'aria-label="{safe(label)}">{"".join(content)}</svg>'
    )


def text(x: float, y: float, words: str, looks: str = "", anchor: str = "start") -> str:
    """Words at a place; anchor is start, middle or end."""
    return f'<text class="{looks}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{safe(words)}</text>'


def line(x1: float, y1: float, x2: float, y2: float, looks: str) -> str:
    """A straight line."""
    return f'<line class="{looks}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'


def rectangle(x: float, y: float, width: float, height: float, looks: str, more: str = "") -> str:
    """A rectangle; `more` is markup inside, such as a title."""
    return (
        f'<rect class="{looks}" x="{x:.1f}" y="{y:.1f}" width="{max(width, 0.8):.1f}" '
        f'height="{height:.1f}">{more}</rect>'
    )


def course(x: np.ndarray, y: np.ndarray, looks: str) -> str:
    """A line through known places, broken where one is not known.

    Parameters
    ----------
    x, y : (n,) places
    looks : classes

    Returns
    -------
    markup
    """
    known = np.isfinite(x) & np.isfinite(y)
    parts = [
        "M" + " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x[i:j], y[i:j], strict=True))
        for i, j in runs(known)
        if j - i > 1
    ]
    return f'<path class="{looks}" d="{" ".join(parts)}"/>' if parts else ""


def band(x: np.ndarray, low: np.ndarray, high: np.ndarray, looks: str) -> str:
    """What lies between two courses, where both are known.

    Parameters
    ----------
    x : (n,) places
    low, high : (n,) places of both courses
    looks : classes

    Returns
    -------
    markup
    """
    known = np.isfinite(low) & np.isfinite(high)
    if known.sum() < 2:
        return ""
    xs, ys = np.r_[x[known], x[known][::-1]], np.r_[high[known], low[known][::-1]]
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(xs, ys, strict=True))
    return f'<polygon class="{looks}" points="{points}"/>'
