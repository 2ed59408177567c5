"""A comparison as one HTML file that needs nothing beside it: tables of error, curves over time."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ..accuracy.scores import Score
from ..pages.parts import CAUTION, NONE, axis_labels, decimal, section, table_of
from ..pages.ticks import ticks
from ..pages.whole_page import placed, whole_page
from .motions import motions, scripts_of
from .plots import GRID_DEG, HEIGHT, error_lane, height_of
from .result import CaseResult, ComparisonResult

MORE_STYLE = """
p { overflow-wrap: anywhere; } tbody th { white-space: nowrap; }
.field svg { width: 100%; display: block; } polyline { fill: none; vector-effect: non-scaling-stroke; }
.body { stroke: #0072b2; stroke-width: 2; }
.alone { stroke: #d55e00; stroke-width: 1.6; stroke-dasharray: 7 4; }
.grid { stroke: #cfcfcf; vector-effect: non-scaling-stroke; }
.key { display: inline-block; width: 2.2rem; border-top: 3px solid #0072b2; vertical-align: middle; }
.key.dashed { border-top: 3px dashed #d55e00; } #times .plot { break-inside: avoid; }
.figures { display: flex; flex-wrap: wrap; gap: 0.6rem; }
figure { margin: 0; width: 11rem; break-inside: avoid; }
figcaption { font-size: 0.85rem; overflow-wrap: anywhere; }
canvas { width: 100%; border: 1px solid var(--line); } .controls input { vertical-align: middle; }
.controls > * { margin-right: 0.8rem; } .controls label { display: inline-block; }
thead th, thead th.n { white-space: normal; vertical-align: bottom; }
"""
AXIS_NOTE = (
    "“About one axis” and “across”: errors split at the one axis about which they are largest; “axis above "
    "level” 90° means heading. “Ends removed”: a constant rotation at either end of each joint, such as a "
    "mounting that is off, counted out."
)
WAYS = {
    "heading": "heading_deg", "inclination": "inclination_deg",
    "about the field": "about_field_deg", "across the field": "across_field_deg",
    "when quiet": "quiet_deg", "when shaken": "shaken_deg",
    "field clean": "clean_deg", "field bent": "bent_deg",
}  # fmt: skip
WAYS_NOTE = (
    "Root mean square of parts of the error: about the vertical and the rest, about the direction of the "
    "magnetic field and the rest; and of the whole error in the fifth of the time that shakes units least "
    "and most, and whose field differs least and most in strength. “Mostly”: where four fifths of the mean "
    "square lie."
)


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
    left = [result for result in comparison.results if result.case.leave_out]
    parts = [
        '<a class="skip" href="#sets">To the table</a>',
        f"<header><h1>{escape(title)}</h1>{_about(comparison)}</header>",
        f"<main>{_sets(sets, comparison.to_truth)}{_ways(sets)}{_joints(sets)}",
        _left_out(left),
        _times(sets),
        motions(comparison),
        _refused(comparison.results),
        f'</main><footer><p class="caution">{escape(CAUTION)}</p>',
        f'<p class="soft">Made with bodyfit {escape(comparison.version)}.</p></footer>',
    ]
    return whole_page(f"{title}: which sensors", MORE_STYLE, "\n".join(parts), scripts_of(comparison))


def _about(comparison: ComparisonResult) -> str:
    what = "the truth, or what is taken for it" if comparison.to_truth else "no truth: how far sets differ"
    offsets = {r.clock_offset_s for r in comparison.results if not r.refused}
    clock = ""
    if offsets - {0.0}:
        clock = (
            f" A clock offset of {1000 * min(offsets):.1f} to {1000 * max(offsets):.1f} ms was taken off the "
            "reference."
        )
    return (
        f"<p>Error of each joint's rotation, child segment against parent, from {escape(comparison.against)} "
        f"({what}), mean over the joints.{clock}</p><p>{escape(comparison.in_short)}</p>"
    )


def _set_name(result: CaseResult) -> str:
    return escape(result.case.short)


def _sets(results: Sequence[CaseResult], to_truth: bool) -> str:
    """Error by sensor set, with the body and without."""
    band = "#in its own 95 % band, %" if to_truth else "#in the full solution's 95 % band, %"
    headings = (
        "sensors", "body", "#RMS, °", "#median, °", "#95 %, °", "#ends removed, °", "#about one axis, °",
        "#across, °", "#axis above level, °", band,
    )  # fmt: skip
    rows = [(_set_name(r), "with" if r.case.body else "alone", *_figures(r.overall)) for r in results]
    return section("sets", "Sensor sets", AXIS_NOTE, table_of("Error by sensor set", headings, rows))


def _ways(results: Sequence[CaseResult]) -> str:
    """Which way errors go, and when."""
    solved = [r for r in results if r.overall is not None]
    headings = ("sensors", "body", *(f"#{name}, °" for name in WAYS), "mostly")
    rows = [
        (
            _set_name(r),
            "with" if r.case.body else "alone",
            *(decimal(getattr(r.overall, figure), 2) for figure in WAYS.values()),
            r.overall.mostly if r.overall else "",
        )
        for r in solved
    ]
    table = table_of("Parts of the error", headings, rows)
    return section("ways", "Which way errors go, and when", WAYS_NOTE, table)


def _figures(score: Score | None) -> tuple[str, ...]:
    if score is None:
        return ("refused", *[""] * 7)
    degrees = [decimal(value, 2) for value in (score.median_deg, score.p95_deg, score.ends_removed_deg)]
    axis = [decimal(value, 2) for value in (score.about_axis_deg, score.across_axis_deg)]
    more = (decimal(score.axis_elevation_deg, 0), decimal(score.band_share, 0, 100))
    return (decimal(score.rmse_deg, 2), *degrees, *axis, *more)


def _joints(results: Sequence[CaseResult]) -> str:
    """Root mean square error by joint."""
    names = next((list(r.joints) for r in results if r.joints), [])
    rows = [
        (_set_name(r), "with" if r.case.body else "alone", *_by_joint(r, names)) for r in results if r.joints
    ]
    table = table_of("Error by joint", ("sensors", "body", *(f"#{name}, °" for name in names)), rows)
    return section("joints", "By joint, RMS", "", table)


def _by_joint(result: CaseResult, names: Sequence[str]) -> list[str]:
    return [decimal(result.joints[n].rmse_deg, 2) if n in result.joints else NONE for n in names]


def _left_out(results: Sequence[CaseResult]) -> str:
    """Units left out; nothing where none was."""
    if not results:
        return ""
    names = next((list(r.joints) for r in results if r.joints), [])
    headings = (
        "left out",
        "sensors",
        "#RMS, °",
        *(f"#{name}, °" for name in names),
        "neighbours of the gap, RMS °",
    )
    rows = []
    for r in results:
        across = ", ".join(f"{escape(n)} {decimal(s.rmse_deg, 2)}°" for n, s in r.across.items())
        whole = decimal(r.overall.rmse_deg, 2) if r.overall else "refused"
        rows.append(
            (escape(", ".join(r.case.leave_out)), _set_name(r), whole, *_by_joint(r, names), across or NONE),
        )
    note = "With the body. The segment of a unit left out is inferred from its neighbours."
    return section("left-out", "Units left out", note, table_of("Units left out", headings, rows))


def _times(results: Sequence[CaseResult]) -> str:
    """Error over time, one lane a set."""
    shown = [r for r in results if r.curve]
    if not shown:
        return ""
    times = [t for r in shown for t in r.curve["time_s"] if t is not None]
    start, end = min(times), max(max(times), min(times) + 1e-6)
    lanes = "".join(_lane(s, shown, start, end) for s in dict.fromkeys(r.case.sensors for r in shown))
    note = (
        '<span class="key"></span> with the body, <span class="key dashed"></span> each unit alone. Root '
        "mean square over the joints, the same logarithmic scale throughout."
    )
    return section("times", "Error over time", note, lanes)


def _lane(sensors: tuple[str, ...], results: Sequence[CaseResult], start: float, end: float) -> str:
    name = escape(" + ".join(sensors))
    curves = [
        ("body" if r.case.body else "alone", [t or 0.0 for t in r.curve["time_s"]], r.curve["all"])
        for r in results
        if r.case.sensors == sensors
    ]
    marks = "".join(
        f'<span class="{placed("px", top=min(max(height_of(d), 5), HEIGHT - 5))}">{d:g}°</span>'
        for d in GRID_DEG
    )
    return (
        f'<h3>{name}</h3><div class="plot" role="img" aria-label="Error over time of {name}; the table above '
        f'has the figures"><div class="gutter">{marks}</div><div class="field">'
        f"{error_lane(start, end, curves)}</div>{axis_labels(ticks(start, end, 5), 's')}</div>"
    )


def _refused(results: Sequence[CaseResult]) -> str:
    """Cases without a solution, and why."""
    rows = [(escape(r.case.name), escape(r.refused)) for r in results if r.refused]
    return (
        section("refused", "No solution", "", table_of("Refused", ("case", "why"), rows)) if rows else ""
    ).replace("<td>", '<td class="text">')
