"""A comparison as one HTML file that needs nothing beside it: the answer, figures, a chart; tables folded."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ..pages.parts import CAUTION, axis_labels, fold, section
from ..pages.ticks import ticks
from ..pages.whole_page import placed, whole_page
from .players import players, scripts_of
from .plots import GRID_DEG, HEIGHT, error_chart, error_lane, height_of
from .result import CaseResult, ComparisonResult
from .tables import HOW_LARGE, WHICH_WAY, by_joint, left_out, refused, sizes, ways


def comparison_page(comparison: ComparisonResult) -> str:
    """The page as text.

    Parameters
    ----------
    comparison : of one recording

    Returns
    -------
    HTML that loads nothing; names that come from files are escaped
    """
    title = comparison.title or "a capture"
    sets = [result for result in comparison.results if not result.case.leave_out]
    chart_note = (
        "One error a set: how far joints are turned wrongly, child segment against parent, root mean square "
        "over time, mean over the joints."
    )
    parts = [
        '<a class="skip" href="#sets">To the chart</a>',
        f"<header><h1>{escape(title)}</h1>{_answer(comparison)}</header><main>",
        players(comparison),
        section("sets", "Error by set of sensors", chart_note, error_chart(sets)),
        _folded(comparison, sets),
        f'</main><footer><p class="caution">{escape(CAUTION)}</p>',
        f'<p class="small">Made with bodyfit {escape(comparison.version)}.</p></footer>',
    ]
    return whole_page(f"{title}: which sensors", "\n".join(parts), scripts_of(comparison))


def _answer(comparison: ComparisonResult) -> str:
    what = "" if comparison.to_truth else ", with every sensor and unit, which is itself no truth"
    offsets = {r.clock_offset_s for r in comparison.results if not r.refused}
    clock = ""
    if offsets - {0.0}:
        clock = (
            f" A clock offset of {1000 * min(offsets):.1f} to {1000 * max(offsets):.1f} ms was taken off the "
            "reference."
        )
    return (
        f'<p class="answer">{escape(comparison.in_short)}</p>'
        f'<p class="lead">Counted from {escape(comparison.against)}{what}.{clock}</p>'
    )


def _folded(comparison: ComparisonResult, sets: Sequence[CaseResult]) -> str:
    """What few readers need, each behind one line."""
    left = [result for result in comparison.results if result.case.leave_out]
    without = "With the body. The segment of a unit left out is inferred from its neighbours."
    failed = any(result.refused for result in comparison.results)
    parts = [
        fold("joints", "Error by joint", "Root mean square over time.", by_joint(sets)),
        fold("left-out", "Units left out", without, left_out(left)) if left else "",
        _times(sets),
        fold("sizes", "How large errors are, in more figures", HOW_LARGE, sizes(sets, comparison.to_truth)),
        fold("ways", "Which way errors go, and when", WHICH_WAY, ways(sets)),
        fold("refused", "No solution", "", refused(comparison.results)) if failed else "",
    ]
    return "".join(parts)


def _times(results: Sequence[CaseResult]) -> str:
    """Error over time, one lane a set."""
    shown = [r for r in results if r.curve]
    if not shown:
        return ""
    times = [t for r in shown for t in r.curve["time_s"] if t is not None]
    start, end = min(times), max(max(times), min(times) + 1e-6)
    lanes = "".join(_lane(s, shown, start, end) for s in dict.fromkeys(r.case.in_full for r in shown))
    note = (
        "Solid: with the body; dashed: each unit alone. Root mean square over the joints, the same "
        "logarithmic scale throughout."
    )
    return fold("times", "Error over time", note, lanes)


def _lane(sensors: str, results: Sequence[CaseResult], start: float, end: float) -> str:
    name = escape(sensors)
    curves = [
        ("with" if r.case.body else "without", [t or 0.0 for t in r.curve["time_s"]], r.curve["all"])
        for r in results
        if r.case.in_full == sensors
    ]
    marks = "".join(
        f'<span class="{placed("px", top=min(max(height_of(d), 5), HEIGHT - 5))}">{d:g}°</span>'
        for d in GRID_DEG
    )
    return (
        f'<h3>{name}</h3><div class="chart" role="img" aria-label="Error over time of {name}; the chart '
        f'above has the figures"><div class="gutter">{marks}</div><div class="field">'
        f"{error_lane(start, end, curves)}</div>{axis_labels(ticks(start, end, 5), 's')}</div>"
    )
