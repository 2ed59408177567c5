"""What a person reads after `bodyfit plan`: the answer, its angles, what more or fewer units would do."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...study.planning.answer import Plan
from .table import console_of, number, plain_table, print_named, print_written


def print_plan(plan: Plan, paths: Sequence[Path] = (), console: Console | None = None) -> None:
    """Prints the answer, tables and the files written, at most 100 columns wide.

    Parameters
    ----------
    plan : with its results
    paths : files written
    console : where to; default is the standard output
    """
    console = console_of(console)
    console.print()
    print_named(console, {name: str(value) for name, value in plan.about.items()}, 12)
    console.print()
    for line in plan.in_short:
        console.print(Text(line))
    for table in (_angles(plan), _sizes(plan)):
        console.print(Padding(table, (1, 0, 0, 0)))
    limits = ", ".join(f"{name} {number(value, 2)}°" for name, value in plan.without.items())
    console.print()
    console.print(Text(f"predicted error of {plan.shown.breaks_first(plan.tolerance_deg)}: {limits}"))
    print_written(console, paths)


def _angles(plan: Plan) -> Table:
    """The set shown, angle by angle."""
    table = plain_table("angle", ">tolerance\n°", ">predicted\n°", ">simulated\nRMS °", ">over\n%")
    shown = plan.shown
    for name, bound in shown.bound_deg.items():
        over = shown.over.get(name)
        figures = (plan.tolerance_deg[name], bound, shown.error_deg.get(name))
        table.add_row(
            Text(name, style="bold"),
            *(number(v, 2) for v in figures),
            number(None if over is None else 100 * over, 0),
        )
    return table


def _sizes(plan: Plan) -> Table:
    """A set for every number of units, see `Plan.best_by`."""
    table = plain_table(
        ">units", ">axes", ">predicted\nmean °", ">simulated\nmean °", ">all met\n%", "breaks first", "set"
    )
    for r in plan.best_by(lambda worn: worn.units).values():
        table.add_row(*r.figures, Text(r.breaks_first(plan.tolerance_deg)), Text(r.worn.name))
    return table
