"""The comparison's moving figures: side by side, in step, each named with its sensors and its error."""

from __future__ import annotations

import json
from collections.abc import Sequence
from html import escape
from pathlib import Path

from ..pages.parts import decimal, section
from .result import CaseResult, ComparisonResult

SCRIPT = Path(__file__).with_name("players.js")
FRONT_RIGHT = -35  # degrees from the front, to the body's right; chosen; not tried


def players(comparison: ComparisonResult) -> str:
    """A section that plays the solutions; nothing where none can be drawn.

    Parameters
    ----------
    comparison : with figures in its results

    Returns
    -------
    HTML; what the script is given is names of segments and numbers
    """
    shown = _shown(comparison)
    if not shown:
        return ""
    start = max(result.figure["time_s"][0] for result in shown)
    end = min(result.figure["time_s"][-1] for result in shown)
    kinds = [
        ("With the body", [r for r in shown if r.case.body and not r.case.leave_out]),
        ("Each unit alone", [r for r in shown if not r.case.body]),
        ("With the body, units left out", [r for r in shown if r.case.leave_out]),
    ]
    best = min(shown, key=_error)
    groups = "".join(_group(heading, results, best) for heading, results in kinds if results)
    content = (
        f"{_controls(start, end)}<noscript><p>Playing needs JavaScript; the rest does not.</p></noscript>"
        f'{groups}<script type="application/json" id="motions">{_data(comparison, shown)}</script>'
    )
    note = (
        f"Behind each in grey: {escape(comparison.against)}. Green is left, plum right. Every figure stands "
        "where that one stands and is turned as its root is, so that what differs is what joints do."
    )
    return section("motion", "Side by side", note, content)


def scripts_of(comparison: ComparisonResult) -> list[str]:
    """Sources of the scripts that play the section; none where there is no section."""
    return [SCRIPT.read_text(encoding="utf-8")] if _shown(comparison) else []


def _shown(comparison: ComparisonResult) -> list[CaseResult]:
    """Results to play in the order in which they stand on the page, the least error first in each group."""
    drawn = [r for r in comparison.results if comparison.parts and r.figure.get("turns")]
    return sorted(drawn, key=lambda r: (bool(r.case.leave_out), not r.case.body, _error(r)))


def _error(result: CaseResult) -> float:
    return result.overall.rmse_deg if result.overall else float("inf")


def _data(comparison: ComparisonResult, shown: Sequence[CaseResult]) -> str:
    truth = comparison.truth if comparison.truth.get("turns") else None
    data = {"parts": comparison.parts, "truth": truth, "figures": [r.figure for r in shown]}
    return json.dumps(data, separators=(",", ":")).replace("<", "\\u003c")


def _controls(start: float, end: float) -> str:
    return (
        '<p class="controls"><button id="play" type="button" aria-pressed="false">Play</button> '
        f'<label class="long">Time <input id="clock" type="range" min="{start:g}" max="{end:g}" step="0.01" '
        f'value="{(start + end) / 2:.2f}"> <output id="shown" for="clock"></output></label> '
        '<label>Seen from <input id="turn" type="range" min="-180" max="180" '
        f'value="{FRONT_RIGHT}" aria-valuetext="degrees from the front"></label></p>'
    )


def _group(heading: str, results: Sequence[CaseResult], best: CaseResult) -> str:
    places = "".join(_place(result, result is best) for result in results)
    return f'<h3>{heading}</h3><div class="players">{places}</div>'


def _place(result: CaseResult, best: bool) -> str:
    """Where one figure is drawn, and its name."""
    sensors = escape(result.case.in_full)
    without = escape(f"without {', '.join(result.case.leave_out)}") if result.case.leave_out else ""
    error = f"{decimal(result.overall.rmse_deg, 1)}°" if result.overall else "no error known"
    body = "with the body" if result.case.body else "each unit alone"
    said = ", ".join(part for part in (sensors, body, without) if part)
    mark = ' class="best"' if best else ""
    return (
        f'<figure{mark}><canvas width="360" height="480" role="img" '
        f'aria-label="Moving figure: {said}, error {error}"></canvas>'
        f"<figcaption><b>{error}</b>{'<br>'.join(part for part in (sensors, without) if part)}"
        "</figcaption></figure>"
    )
