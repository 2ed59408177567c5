"""A comparison's charts as SVG on logarithmic scales: error by set of sensors, and error over time."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ..pages.parts import NONE, decimal, scrolling
from ..pages.ticks import LogScale
from .result import CaseResult

OVER_TIME = LogScale(0.1, 180.0)  # degrees
GRID_DEG = (0.1, 1.0, 10.0, 100.0)
HEIGHT = 110  # px
LABELS = 6  # along the scale, at most, so that they stay apart on a phone
Curve = Sequence[float | None]


def error_chart(results: Sequence[CaseResult]) -> str:
    """Error of each set of sensors with the body and without, the least one on top.

    Parameters
    ----------
    results : of the cases without units left out

    Returns
    -------
    HTML: a table, a row a set, whose middle column is drawn
    """
    errors: dict[str, dict[bool, float | None]] = {}
    for r in results:
        by_body = errors.setdefault(r.case.in_full, {})
        by_body[r.case.body] = None if r.overall is None else r.overall.rmse_deg
    known = [e for by_body in errors.values() for e in by_body.values() if e is not None]
    scale = LogScale.around(known)
    order = sorted(errors, key=lambda name: min([1e9, *(e for e in errors[name].values() if e is not None)]))
    rows = "".join(_row(name, errors[name].get(True), errors[name].get(False), scale) for name in order)
    labels = "".join(_label(t.at, f"{t.text}°") for t in scale.ticks(LABELS))
    head = (
        '<tr><th scope="col">sensors</th><th scope="col" class="strip"><svg role="img" aria-label="error, '
        f'degrees, logarithmic">{labels}</svg></th><th scope="col" class="n">with the body</th>'
        '<th scope="col" class="n">units alone</th></tr>'
    )
    table = f'<table class="dots"><thead>{head}</thead><tbody>{rows}</tbody></table>'
    return scrolling("Error by set of sensors", table) + KEY


KEY = (
    '<p class="key small"><svg aria-hidden="true"><circle class="with" cx="50%" cy="50%" r="5"/></svg> with '
    'the body · <svg aria-hidden="true"><circle class="without" cx="50%" cy="50%" r="5"/></svg> each unit '
    "alone. The scale is logarithmic: each step to the right is a larger error by the same factor.</p>"
)


def _row(name: str, body: float | None, alone: float | None, scale: LogScale) -> str:
    grid = "".join(
        f'<line class="grid" x1="{_share(t.at)}" x2="{_share(t.at)}" y1="0" y2="100%"/>'
        for t in scale.ticks(LABELS)
    )
    both = ""
    if body is not None and alone is not None:
        ends = (_share(scale.at(body)), _share(scale.at(alone)))
        both = f'<line class="without" x1="{ends[0]}" x2="{ends[1]}" y1="50%" y2="50%"/>'
    dots = "".join(
        f'<circle class="{kind}" cx="{_share(scale.at(error))}" cy="50%" r="6"/>'
        for kind, error in (("without", alone), ("with", body))
        if error is not None
    )
    return (
        f'<tr><th scope="row">{escape(name)}</th><td class="strip"><svg aria-hidden="true">{grid}{both}{dots}'
        f'</svg></td><td class="n">{_degrees(body)}</td><td class="n">{_degrees(alone)}</td></tr>'
    )


def _degrees(error: float | None) -> str:
    return NONE if error is None else f"{decimal(error, 2)}°"


def _share(at: float) -> str:
    """Where a value stands, with room at both ends for a dot and half a label."""
    return f"{100 * (0.04 + 0.92 * at):.2f}%"


def _label(at: float, text: str) -> str:
    return f'<text x="{_share(at)}" y="75%" text-anchor="middle">{text}</text>'


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
    return HEIGHT * (1 - OVER_TIME.at(error_deg))


def _pieces(start: float, end: float, time: Sequence[float], error: Curve) -> list[str]:
    """The points of each stretch without a gap."""
    pieces: list[list[str]] = [[]]
    for t, value in zip(time, error, strict=True):
        if value is None:
            pieces.append([])
        else:
            pieces[-1].append(f"{1000 * (t - start) / (end - start):.1f},{height_of(value):.1f}")
    return [" ".join(piece) for piece in pieces if piece]
