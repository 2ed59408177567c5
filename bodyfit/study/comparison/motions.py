"""The comparison's moving figures, next to each other."""

from __future__ import annotations

import json
from html import escape
from pathlib import Path

from ..pages.parts import section
from .result import CaseResult, ComparisonResult

SCRIPT = Path(__file__).with_name("motions.js")


def motions(comparison: ComparisonResult) -> str:
    """A section that plays the solutions; nothing where none can be drawn.

    Parameters
    ----------
    comparison : with figures in its results

    Returns
    -------
    HTML; what the script is given is numbers only
    """
    shown = [result for result in comparison.results if result.figure]
    if not shown:
        return ""
    places = "".join(_place(result) for result in shown)
    start = max(result.figure["time_s"][0] for result in shown)
    end = min(result.figure["time_s"][-1] for result in shown)
    data = {"lines": comparison.lines, "truth": comparison.truth or None}
    text = json.dumps({**data, "figures": [result.figure for result in shown]}, separators=(",", ":"))
    controls = (
        '<p class="controls"><button id="play" type="button">Play</button> '
        f'<label>time <input id="clock" type="range" min="{start:g}" max="{end:g}" step="0.01" '
        f'value="{start:g}"></label> <output id="shown"></output> '
        '<label>seen from <input id="turn" type="range" min="0" max="360" value="30"></label></p>'
    )
    content = (
        f"{controls}<noscript><p>Playing needs JavaScript; the tables do not.</p></noscript>"
        f'<div class="figures">{places}</div>'
        f'<script type="application/json" id="motions">{text}</script>'
    )
    note = (
        f"Grey: {escape(comparison.against)}. Every figure stands as its root does there, so that what "
        "differs is what joints do."
    )
    return section("motion", "Next to each other", note, content)


def scripts_of(comparison: ComparisonResult) -> list[str]:
    """Sources of the scripts that play the section; none where there is no section."""
    drawn = any(result.figure for result in comparison.results)
    return [SCRIPT.read_text(encoding="utf-8")] if drawn else []


def _place(result: CaseResult) -> str:
    """Where one figure is drawn."""
    case = result.case
    words = escape(f"{case.short}, {'with the body' if case.body else 'alone'}")
    without = escape(f" without {', '.join(case.leave_out)}") if case.leave_out else ""
    body = "yes" if case.body else "no"
    said = f"{words}{without}"
    return (
        f'<figure><canvas width="360" height="360" data-body="{body}" role="img" '
        f'aria-label="Moving figure: {said}"></canvas><figcaption>{said}</figcaption></figure>'
    )
