"""Repetitions as a person reads them in a terminal: counts, then each with its time and what is odd."""

from __future__ import annotations

from rich.console import Console
from rich.markup import escape

from ...movement.repetitions.result import HEADINGS, Repetitions
from .table import console_of, plain_table

MOST = 40  # rows printed; repetitions.csv holds all (by reasoning: a terminal's height)


def print_repetitions(found: Repetitions, console: Console | None = None) -> None:
    """Prints how often each movement was found, and a row for each time.

    Parameters
    ----------
    found : from `bodyfit.repetitions`
    console : where to; default is the standard output
    """
    console = console_of(console)
    for name, share in found.explained.items():
        console.print(f"{escape(name)}: {found.in_words(name)}, {100 * share:.0f} % of what moves")
    if not found.found:
        return
    table = plain_table(*HEADINGS)
    for one in found.found[:MOST]:
        table.add_row(*map(escape, one.cells))
    console.print(table)
    if len(found.found) > MOST:
        console.print(f"… and {len(found.found) - MOST} more, in repetitions.csv")
