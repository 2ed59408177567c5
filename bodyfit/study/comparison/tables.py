"""A comparison's tables, for those who want every figure."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ...body.anatomy import spoken
from ..accuracy.scores import Score
from ..pages.parts import NONE, decimal, table_of
from .result import CaseResult

HOW_LARGE = (
    "Root mean square of the error; what it stays below half and 95 % of the time; what is left when each "
    "joint may be turned by a constant at either end, as by a mounting that is off; and the error split at "
    "the one axis about which it is largest (axis above level 90°: the error is one of heading)."
)
WAYS = {
    "heading": "heading_deg", "inclination": "inclination_deg",
    "about the magnetic field": "about_field_deg", "the rest": "across_field_deg",
    "while units are still": "quiet_deg", "while they are shaken": "shaken_deg",
    "in a clean field": "clean_deg", "in a disturbed one": "bent_deg",
}  # fmt: skip
WHICH_WAY = (
    "Root mean square of parts of the error: about the vertical (heading) and the rest (inclination); about "
    "the direction of the magnetic field and the rest; and of the whole error in the fifth of the time in "
    "which units are shaken least, and most, and in which the field is most as it should be, and least. Last "
    "column: the direction in which at least four fifths of the squared error lie, if there is one."
)


def sizes(results: Sequence[CaseResult], to_truth: bool) -> str:
    """How large errors are, by sensor set, with the body and without."""
    band = "#inside its own 95 % band, %" if to_truth else "#inside the full solution’s 95 % band, %"
    headings = (
        "sensors", "solved", "#error, °", "#half the time below, °", "#95 % of the time below, °",
        "#constant turns taken off, °", "#about its axis, °", "#across it, °", "#axis above level, °", band,
    )  # fmt: skip
    rows = [(_name(r), _body(r), *_figures(r.overall)) for r in results]
    return table_of("Size of the error", headings, rows)


def ways(results: Sequence[CaseResult]) -> str:
    """Which way errors go, and when."""
    headings = ("sensors", "solved", *(f"#{name}, °" for name in WAYS), "which way")
    rows = [
        (
            _name(r),
            _body(r),
            *(decimal(getattr(r.overall, figure), 2) for figure in WAYS.values()),
            r.overall.which_way,
        )
        for r in results
        if r.overall is not None
    ]
    return table_of("Parts of the error", headings, rows)


def by_joint(results: Sequence[CaseResult]) -> str:
    """Root mean square error by joint."""
    names = _joints(results)
    rows = [(_name(r), _body(r), *_by_joint(r, names)) for r in results if r.joints]
    return table_of("Error by joint", ("sensors", "solved", *(f"#{spoken(n)}, °" for n in names)), rows)


def left_out(results: Sequence[CaseResult]) -> str:
    """Units left out."""
    names = _joints(results)
    joints = (f"#{spoken(name)}, °" for name in names)
    headings = ("left out", "sensors", "#error, °", *joints, "across the gap, °")
    rows = []
    for r in results:
        across = ", ".join(f"{escape(n)} {decimal(s.rmse_deg, 2)}" for n, s in r.across.items())
        whole = decimal(r.overall.rmse_deg, 2) if r.overall else "no solution"
        without = escape(", ".join(r.case.leave_out))
        rows.append((without, _name(r), whole, *_by_joint(r, names), across or NONE))
    return table_of("Units left out", headings, rows)


def refused(results: Sequence[CaseResult]) -> str:
    """Cases without a solution, and why."""
    rows = [(escape(r.case.name), escape(r.refused)) for r in results if r.refused]
    return table_of("No solution", ("case", "=why"), rows)


def _name(result: CaseResult) -> str:
    return escape(result.case.in_full)


def _body(result: CaseResult) -> str:
    return "with the body" if result.case.body else "each unit alone"


def _figures(score: Score | None) -> tuple[str, ...]:
    if score is None:
        return ("no solution", *[""] * 7)
    degrees = (score.rmse_deg, score.median_deg, score.p95_deg, score.ends_removed_deg)
    axis = (score.about_axis_deg, score.across_axis_deg)
    more = (decimal(score.axis_elevation_deg, 0), decimal(score.band_share, 0, 100))
    return (*(decimal(value, 2) for value in (*degrees, *axis)), *more)


def _joints(results: Sequence[CaseResult]) -> list[str]:
    return next((list(r.joints) for r in results if r.joints), [])


def _by_joint(result: CaseResult, names: Sequence[str]) -> list[str]:
    return [decimal(result.joints[n].rmse_deg, 2) if n in result.joints else NONE for n in names]
