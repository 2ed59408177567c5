"""Activities in the terminal: how much of the time each took, and what to be wary of."""

from __future__ import annotations

from ...movement.activities.result import HEADINGS, Activities
from .table import console_of, plain_table


def print_activities(found: Activities, caution: str) -> None:
    """Prints a row an activity: stretches, minutes, share of the time with its standard deviation."""
    console = console_of(None)
    console.print(f"told from {found.source}")
    table = plain_table(*HEADINGS)
    for row in found.summed():
        table.add_row(*row)
    console.print(table)
    for finding in found.findings:
        console.print(f"{finding.severity}: {finding.sentence}")
    console.print(caution)
