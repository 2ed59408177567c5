"""Activities in the terminal: how much of the time each took, and what to be wary of."""

from __future__ import annotations

from ...movement.activities.result import Activities
from .table import NONE, console_of, plain_table


def print_activities(found: Activities, caution: str) -> None:
    """Prints a row an activity: stretches, minutes, share of the time with its standard deviation."""
    console = console_of(None)
    console.print(f"told from {found.source}")
    table = plain_table("activity", ">stretches", ">seconds", ">share %", ">± %")
    whole = sum(s.end - s.start for s in found.stretches)
    for name in found.names:
        own = [s.end - s.start for s in found.stretches if s.activity == name]
        if own:
            share = found.shares.get(name)
            part = 100 * (sum(own) / whole if share is None else share.value)
            sd = NONE if share is None else f"{100 * share.sd:.1f}"
            table.add_row(name, str(len(own)), f"{sum(own):.1f}", f"{part:.1f}", sd)
    console.print(table)
    for finding in found.findings:
        console.print(f"{finding.severity}: {finding.sentence}")
    console.print(caution)
