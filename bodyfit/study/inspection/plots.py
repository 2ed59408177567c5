"""Drawings of an inspection as SVG that stretches to any width; labels and ticks are left to the page."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

import numpy as np

from ...core.colours import FAINT, INK, PAGE, RANGE, SIDES
from ..pages.ticks import Tick, ticks
from .result import Series, Spans, UnitInspection

# lanes and rows are told apart by their names: colours stay with sides and findings
SIGNAL, GREY = SIDES["middle"], PAGE["quiet"]
LANE = 84  # px, height of a signal's lane
ROW = 18  # px, height of a row of marks
GAP = 10  # px, between lanes


@dataclass(frozen=True)
class Drawing:
    """A picture and what stands beside it.

    Attributes
    ----------
    address : data: URI of the SVG
    lanes : name and y ticks of each lane of a signal
    rows : names of the rows of marks below
    """

    address: str
    lanes: tuple[tuple[str, tuple[Tick, ...]], ...] = ()
    rows: tuple[str, ...] = ()

    @property
    def height(self) -> int:
        """Height in px."""
        return len(self.lanes) * (LANE + GAP) + len(self.rows) * ROW


def timeline(unit: UnitInspection, start: float, end: float, gravity: float) -> Drawing | None:
    """Signals of one unit and what is to be marked along them.

    Parameters
    ----------
    unit : what was found out about it
    start, end : s of the capture
    gravity : m/s², drawn as a line through the specific force

    Returns
    -------
    Drawing, or None where there is nothing to draw
    """
    lanes = _lanes(unit)
    rows = [(name, spans) for name, spans in _rows(unit) if spans is not None]
    if not (lanes or rows) or not end > start:
        return None
    below = len(lanes) * (LANE + GAP)
    figure, axes = _sheet(start, end, below + len(rows) * ROW)
    named = []
    for k, (name, series, scale, colour) in enumerate(lanes):
        foot = k * (LANE + GAP) + LANE
        named.append((name, _signal(axes, foot, series, scale, colour)))
        if series is unit.force:
            top = _top(series)
            axes.axhline(foot - LANE * gravity / top, color=INK, lw=1.0, ls=(0, (5, 3)))
    if unit.gaps and lanes:
        shown = [(a, b - a) for a, b in _widened(unit.gaps, start, end)]
        axes.broken_barh(shown, (0, below - GAP), facecolor=RANGE, edgecolor=GREY, hatch="////", lw=0)
    for k, (name, spans) in enumerate(rows):
        _marks(axes, below + k * ROW, name, spans, start, end)
    return Drawing(_address(figure), tuple(named), tuple(name for name, _ in rows))


def offsets(values: Sequence[float | None], deviations: Sequence[float | None]) -> tuple[Drawing, float]:
    """Clock offsets with their standard deviations, one row a unit, zero in the middle.

    Parameters
    ----------
    values, deviations : s, or None where not known

    Returns
    -------
    drawing : one row of `ROW` px a unit
    reach : s, at the right edge
    """
    known = [
        (k, v, d or 0.0) for k, (v, d) in enumerate(zip(values, deviations, strict=True)) if v is not None
    ]
    reach = 1.15 * max([0.001, *(abs(v) + d for _, v, d in known)])
    figure, axes = _sheet(-reach, reach, ROW * len(values))
    axes.axvline(0.0, color=GREY, lw=1.0)
    if known:
        row, value, deviation = map(np.array, zip(*known, strict=True))
        at, ends = (row + 0.5) * ROW, np.concatenate([value - deviation, value + deviation])
        axes.hlines(at, value - deviation, value + deviation, color=SIGNAL, lw=2.0)
        axes.vlines(ends, np.tile(at - 4, 2), np.tile(at + 4, 2), color=SIGNAL, lw=2.0)
        axes.vlines(value, at - 7, at + 7, color=INK, lw=3.0)
    return Drawing(_address(figure), rows=("",) * len(values)), float(reach)


def _lanes(unit: UnitInspection) -> list[tuple[str, Series, float, str]]:
    """Name, series, factor to the shown unit, colour."""
    lanes = [
        ("turning, °/s", unit.turning, 180 / np.pi, SIGNAL),
        ("specific force, m/s²", unit.force, 1.0, SIGNAL),
        ("field, of its median", unit.magnetic, 1.0, SIGNAL),
    ]
    return [(n, s, f, c) for n, s, f, c in lanes if s is not None and np.isfinite(s.high).any()]


def _rows(unit: UnitInspection) -> list[tuple[str, Spans | None]]:
    return [("field trusted", unit.field_trusted), ("gaps", unit.gaps), ("clipped", unit.clipped)]


def _sheet(start: float, end: float, height: float) -> tuple[Any, Any]:
    """A figure and its axes without frame, ticks and labels: along, whatever it is; down, px."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    figure = Figure((8.0, height / 72), dpi=72, facecolor="none")
    FigureCanvasSVG(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0), xlim=(start, end), ylim=(height, 0))
    axes.set_axis_off()
    return figure, axes


def _top(series: Series, scale: float = 1.0) -> float:
    """Value at the top of a lane."""
    return 1.05 * max(float(np.nanmax(scale * series.high)), 1e-6)


def _signal(axes: Any, foot: float, series: Series, scale: float, colour: str) -> tuple[Tick, ...]:
    """Draws a band from the least to the greatest value of each bin; returns the y ticks."""
    top = _top(series, scale)
    found = ticks(0.0, top, 3)
    axes.hlines([foot - LANE * tick.at for tick in found], *axes.get_xlim(), color=FAINT, lw=0.7)
    low, high = (foot - LANE * scale * values / top for values in (series.low, series.high))
    axes.fill_between(series.time, low, high, color=colour, lw=0.8)
    return found


def _marks(axes: Any, top: float, name: str, spans: Spans, start: float, end: float) -> None:
    """One row of marks: what holds is filled; of the field, what does not hold is crossed."""
    colour, hatch = {"field trusted": (SIGNAL, None), "gaps": (GREY, "////"), "clipped": (INK, None)}[name]
    inside = (top + 0.2 * ROW, 0.6 * ROW)
    if name == "field trusted":
        whole = [(start, end - start)]
        axes.broken_barh(whole, inside, facecolor=PAGE["sheet"], edgecolor=GREY, hatch="xxxx", lw=0)
    else:
        axes.hlines(top + 0.5 * ROW, start, end, color=FAINT, lw=0.7)
    shown = [(a, b - a) for a, b in _widened(spans, start, end)]
    axes.broken_barh(shown, inside, facecolor=colour, edgecolor=INK, hatch=hatch, lw=0)


def _widened(spans: Spans, start: float, end: float) -> list[tuple[float, float]]:
    """Spans that are at least a line wide, within the capture; those that touch are joined."""
    least, out = (end - start) / 500, []
    for a, b in sorted(spans):
        a, b = max(start, min(a, end - least)), min(end, max(b, a + least))
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(b, out[-1][1]))
        else:
            out.append((a, b))
    return out


def _address(figure: Any) -> str:
    """The figure as a data: URI, without what only its maker needs, stretching to the size it is given."""
    import matplotlib

    with matplotlib.rc_context(
        {"svg.hashsalt": "bodyfit", "path.simplify_threshold": 0.5, "hatch.linewidth": 0.8}
    ):
        out = io.StringIO()
        figure.savefig(
            out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
    svg = out.getvalue()
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r' (width|height)="[\d.]+pt"', "", svg, count=2)
    svg = svg.replace("<svg", '<svg preserveAspectRatio="none"', 1)
    svg = svg.replace("</style>", "path{vector-effect:non-scaling-stroke}</style>", 1)
    svg = re.sub(r"(\d\.\d\d)\d+", r"\1", svg)
    return "data:image/svg+xml," + quote(re.sub(r"\s+", " ", svg), safe=" /:=;,()!*'?@&+$[]")
