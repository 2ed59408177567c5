"""A plan as one HTML file that needs nothing beside it: the answer, a chart of every set, its angles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

from ..pages.names import Names, angle_words
from ..pages.parts import CAUTION, decimal, fold, section, table_of
from ..pages.whole_page import whole_page
from .plots import sets_chart
from .result import PlanResult
from .set_result import SetResult

SHOWN = 60  # rows of the table
NOT_CLINICAL = (
    "A plan is only as good as what was assumed of motion, units, tissue and mounting; it says nothing about "
    "how a person moves, and is no proof that a recording will be good enough for a decision about anyone."
)
PREDICTED = (
    "Predicted: what the fit’s own covariance promises at the true motion, with the errors assumed below. "
    "It is no bound: simulated errors come out some smaller, some larger, and it is the simulated ones that "
    "decide."
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
        '<a class="skip" href="#chart">To the chart</a><header><h1>Which units to wear</h1>',
        f'<p class="lead">Motion: {escape(motion)}</p>{_answer(plan)}</header><main>',
        section("chart", "Every set that was looked at", PREDICTED, sets_chart(plan)),
        f'<div class="columns">{_angles(plan)}{_limits(plan)}</div>',
        f"{_sets(plan)}{_assumed(plan.about)}</main>",
        f'<footer><p class="caution">{escape(NOT_CLINICAL)} {escape(CAUTION)}</p>',
        f'<p class="small">Made with bodyfit {escape(plan.version)}.</p></footer>',
    ]
    return whole_page(f"Which units to wear: {motion}", "\n".join(parts))


def _names(plan: PlanResult) -> Names:
    return Names(segments=[s for r in plan.results for s, _ in r.worn.worn], angles=plan.tolerance_deg)


def _answer(plan: PlanResult) -> str:
    first, *others = (escape(_names(plan).within(line)) for line in plan.in_short)
    return f'<p class="answer">{first}</p>' + "".join(f"<p>{line}</p>" for line in others)


def _angles(plan: PlanResult) -> str:
    shown = plan.shown
    rows = [
        (
            escape(angle_words(name)),
            decimal(plan.tolerance_deg[name], 1),
            decimal(shown.bound_deg[name], 2),
            decimal(shown.error_deg.get(name), 2),
            decimal(shown.over.get(name), 0, 100),
        )
        for name in shown.bound_deg
    ]
    headings = ("joint angle", "#tolerance, °", "#predicted, °", "#simulated, °", "#over tolerance, %")
    return section("angles", f"{'This' if plan.answer else 'The nearest'} set, angle by angle", "",
                   table_of("By angle", headings, rows))  # fmt: skip


def _limits(plan: PlanResult) -> str:
    first = plan.shown.breaks_first(plan.tolerance_deg)
    note = f"Predicted error of {escape(angle_words(first))} in this set, were one kind of error none."
    rows = [(escape(name), decimal(value, 2)) for name, value in plan.without.items()]
    return section(
        "limits", "What limits it", note, table_of("What limits it", ("assumed", "#predicted, °"), rows)
    )


def _sets(plan: PlanResult) -> str:
    looked = "Every set" if plan.exhaustive else "The sets beside the greedy path"
    worst = {r.worn: r.worst_bound(plan.tolerance_deg) for r in plan.results}
    order = sorted(plan.results, key=lambda r: (not r.trials, worst[r.worn] > 1, r.worn.units, r.worn.axes))
    order = order[:SHOWN]
    note = (
        f"{looked}, {len(plan.results)} in all; simulated ones first, then those predicted to be within all "
        f"tolerances; {len(order)} shown, all in plan.csv. From, to: 95 % interval of the share that met all."
    )
    headings = (
        "set", "#units", "#axes", "#largest predicted error, % of tolerance", "breaks first",
        "#recordings simulated", "#met all, %", "#from, %", "#to, %",
    )  # fmt: skip
    rows = [_row(plan, r) for r in order]
    return fold("sets", "The sets as a table", note, table_of("Sets", headings, rows))


def _row(plan: PlanResult, r: SetResult) -> Sequence[str]:
    name = escape(_names(plan).within(r.worn.name))
    if plan.answer and r.worn == plan.answer.worn:
        name = f"<strong>{name}</strong>"
    chance: list[float | None] = [r.met / r.trials, *r.chance] if r.trials else [None] * 3
    return (
        name,
        str(r.worn.units),
        str(r.worn.axes),
        decimal(r.worst_bound(plan.tolerance_deg), 0, 100),
        escape(angle_words(r.breaks_first(plan.tolerance_deg))),
        str(r.trials),
        *(decimal(value, 0, 100) for value in chance),
    )


def _assumed(about: Mapping[str, object]) -> str:
    rows = [(escape(str(name)), escape(str(value))) for name, value in about.items()]
    return fold("assumed", "What was assumed", "", table_of("Assumed", ("of", "assumed"), rows))
