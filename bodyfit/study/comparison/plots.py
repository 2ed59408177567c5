"""Error over time as SVG on a logarithmic scale that is the same for every set of sensors."""

from __future__ import annotations

import math
from collections.abc import Sequence

LOW_DEG, HIGH_DEG = 0.1, 180.0
GRID_DEG = (0.1, 1.0, 10.0, 100.0)
HEIGHT = 110  # px
Curve = Sequence[float | None]


def error_lane(start: float, end: float, curves: Sequence[tuple[str, Sequence[float], Curve]]) -> str:
    """An SVG element that stretches to the width it is given.

    Parameters
    ----------
    start, end : s, at the edges
    curves : style class, times (s), errors (degrees, None: unknown) of each

    Returns
    -------
    SVG; the vertical axis goes from 0.1° to 180°
    """
    lines = [
        f'<line class="grid" x1="0" x2="1000" y1="{y:.1f}" y2="{y:.1f}"/>' for y in map(height_of, GRID_DEG)
    ]
    for style, time, error in curves:
        for points in _pieces(start, end, time, error):
            lines.append(f'<polyline class="{style}" points="{points}"/>')
    return (
        f'<svg viewBox="0 0 1000 {HEIGHT}" preserveAspectRatio="none" height="{HEIGHT}" '
        f'aria-hidden="true">{"".join(lines)}</svg>'
    )


def height_of(error_deg: float) -> float:
    """Where an error stands, px from the top."""
    inside = min(max(error_deg, LOW_DEG), HIGH_DEG)
    return HEIGHT * (1 - math.log(inside / LOW_DEG) / math.log(HIGH_DEG / LOW_DEG))


def _pieces(start: float, end: float, time: Sequence[float], error: Curve) -> list[str]:
    """The points of each stretch without a gap."""
    pieces: list[list[str]] = [[]]
    for t, value in zip(time, error, strict=True):
        if value is None:
            pieces.append([])
        else:
            pieces[-1].append(f"{1000 * (t - start) / (end - start):.1f},{height_of(value):.1f}")
    return [" ".join(piece) for piece in pieces if piece]
