"""A plan as one HTML file that needs nothing beside it: the answer, two trade-off curves, every set."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from html import escape

from ..pages.parts import CAUTION, axis_labels, decimal, section, table_of
from ..pages.ticks import Tick
from ..pages.whole_page import placed, whole_page
from .question import WornSet
from .result import PlanResult
from .set_result import SetResult

MORE_STYLE = """
p { overflow-wrap: anywhere; } tbody th { font-weight: normal; } .answer { font-size: 1.15rem; }
.field svg { width: 100%; display: block; } polyline { fill: none; vector-effect: non-scaling-stroke; }
.bound { stroke: #0072b2; stroke-width: 2; }
.error { stroke: #d55e00; stroke-width: 1.6; stroke-dasharray: 7 4; }
.grid { stroke: #cfcfcf; vector-effect: non-scaling-stroke; }
.key { display: inline-block; width: 2.2rem; border-top: 3px solid #0072b2; vertical-align: middle; }
.key.dashed { border-top: 3px dashed #d55e00; } .plot { break-inside: avoid; }
thead th, thead th.n { white-space: normal; vertical-align: bottom; }
"""
SHOWN = 60  # rows of the table
HEIGHT = 140  # px
LOW, HIGH = 0.3, 200.0  # degrees, of the curves' logarithmic scale
GRID = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
LABELS = 9  # below a curve, at most, so that they stay apart on a phone
NOT_CLINICAL = (
    "A plan is only as good as what was assumed of motion, units, tissue and mounting; it says nothing about "
    "how a person moves, and is no proof that a recording will be good enough for a decision about anyone."
)


def plan_page(plan: PlanResult) -> str:
    """The page as text.

    Parameters
    ----------
    plan : with its results

    Returns
    -------
    HTML that loads nothing; names that come from files are escaped
    """
    motion = str(plan.about.get("motion", "a motion"))
    parts = [
        '<a class="skip" href="#sets">To the table</a><header><h1>Which units to wear</h1>',
        f"<p>Motion: {escape(motion)}</p>{_answer(plan)}</header>",
        f"<main>{_angles(plan)}{_curves(plan)}{_limits(plan)}{_sets(plan)}{_assumed(plan.about)}</main>",
        f'<footer><p class="caution">{escape(NOT_CLINICAL)} {escape(CAUTION)}</p>',
        f'<p class="soft">Made with bodyfit {escape(plan.version)}.</p></footer>',
    ]
    return whole_page(f"Which units to wear: {motion}", MORE_STYLE, "\n".join(parts))


def _answer(plan: PlanResult) -> str:
    return "".join(f'<p class="answer">{escape(line)}</p>' for line in plan.in_short)


def _angles(plan: PlanResult) -> str:
    shown = plan.shown
    rows = [
        (
            escape(name),
            decimal(plan.tolerance_deg[name], 1),
            decimal(shown.bound_deg[name], 2),
            decimal(shown.error_deg.get(name), 2),
            decimal(shown.over.get(name), 0, 100),
        )
        for name in shown.bound_deg
    ]
    headings = ("joint angle", "#tolerance, °", "#bound, °", "#simulated, RMS °", "#over tolerance, %")
    return section("angles", f"{'This' if plan.answer else 'The nearest'} set, angle by angle", "",
                   table_of("By angle", headings, rows))  # fmt: skip


def _curves(plan: PlanResult) -> str:
    note = (
        '<span class="key"></span> information bound, <span class="key dashed"></span> simulated recordings '
        "where there are some; mean over the angles, of the smallest set of that size whose bound is within "
        "5 % of the best. Logarithmic."
    )
    units = _curve(plan, lambda worn: worn.units, "units")
    axes = _curve(plan, lambda worn: worn.axes, "axes")
    return section("curves", "What more buys", note, units + axes)


def _curve(plan: PlanResult, size: Callable[[WornSet], int], unit: str) -> str:
    best = plan.best_by(size)
    low, high = min(best), max(best)
    place = {n: 0.04 + 0.92 * (n - low) / max(high - low, 1) for n in best}
    lines = [f'<line class="grid" x1="0" x2="1000" y1="{y:.1f}" y2="{y:.1f}"/>' for y in map(_height, GRID)]
    lines += [_line("bound", place, {n: r.bound_mean_deg for n, r in best.items()})]
    lines += [_line("error", place, {n: r.error_mean_deg for n, r in best.items()})]
    marks = "".join(
        f'<span class="{placed("px", top=min(max(_height(d), 5), HEIGHT - 5))}">{d:g}°</span>' for d in GRID
    )
    said = ", ".join(f"{n} {unit}: {r.bound_mean_deg:.1f}°" for n, r in best.items())
    some = list(place.items())[:: -(-len(place) // LABELS)]
    labels = axis_labels([Tick(x, str(n)) for n, x in some], "")
    return (
        f'<h3>Number of {unit}</h3><div class="plot" role="img" aria-label="Error by number of {unit}; '
        f'{said}"><div class="gutter">{marks}</div><div class="field"><svg viewBox="0 0 1000 {HEIGHT}" '
        f'preserveAspectRatio="none" height="{HEIGHT}" aria-hidden="true">{"".join(lines)}</svg></div>'
        f"{labels}</div>"
    )


def _line(style: str, place: Mapping[int, float], values: Mapping[int, float | None]) -> str:
    """A curve through the known values, each marked by a short upright line; a gap where one is unknown."""
    pieces: list[list[tuple[float, float]]] = [[]]
    for n, value in values.items():
        if value is None:
            pieces.append([])
        else:
            pieces[-1].append((1000 * place[n], _height(value)))
    marks = [[(x, y - 5), (x, y + 5)] for piece in pieces for x, y in piece]
    lines = [" ".join(f"{x:.1f},{y:.1f}" for x, y in line) for line in (*pieces, *marks) if len(line) > 1]
    return "".join(f'<polyline class="{style}" points="{points}"/>' for points in lines)


def _height(degrees: float) -> float:
    """Where a value stands, px from the top."""
    inside = min(max(degrees, LOW), HIGH)
    return HEIGHT * (1 - math.log(inside / LOW) / math.log(HIGH / LOW))


def _limits(plan: PlanResult) -> str:
    first = plan.shown.breaks_first(plan.tolerance_deg)
    note = f"Information bound of {escape(first)} in this set, were one kind of error none."
    rows = [(escape(name), decimal(value, 2)) for name, value in plan.without.items()]
    return section("limits", "What limits it", note, table_of("Bound", ("assumed", "#bound, °"), rows))


def _sets(plan: PlanResult) -> str:
    looked = "Every set" if plan.exhaustive else "The sets beside the greedy path"
    worst = {r.worn: r.worst_bound(plan.tolerance_deg) for r in plan.results}
    order = sorted(plan.results, key=lambda r: (not r.trials, worst[r.worn] > 1, r.worn.units, r.worn.axes))
    order = order[:SHOWN]
    note = (
        f"{looked}, {len(plan.results)} in all; simulated ones first, then those whose bound is within all "
        f"tolerances; {len(order)} shown, all in plan.csv. From, to: 95 % interval of the share that met all."
    )
    headings = (
        "set", "#units", "#axes", "#largest bound, % of tolerance", "breaks first", "#recordings simulated",
        "#met all, %", "#from, %", "#to, %",
    )  # fmt: skip
    rows = [_row(plan, r) for r in order]
    return section("sets", "Sets of units", note, table_of("Sets", headings, rows))


def _row(plan: PlanResult, r: SetResult) -> Sequence[str]:
    name = escape(r.worn.name)
    if plan.answer and r.worn == plan.answer.worn:
        name = f"<strong>{name}</strong>"
    chance: list[float | None] = [r.met / r.trials, *r.chance] if r.trials else [None] * 3
    return (
        name,
        str(r.worn.units),
        str(r.worn.axes),
        decimal(r.worst_bound(plan.tolerance_deg), 0, 100),
        escape(r.breaks_first(plan.tolerance_deg)),
        str(r.trials),
        *(decimal(value, 0, 100) for value in chance),
    )


def _assumed(about: Mapping[str, object]) -> str:
    rows = [(escape(str(name)), escape(str(value))) for name, value in about.items()]
    return section("assumed", "What was assumed", "", table_of("Assumed", ("of", "assumed"), rows))
