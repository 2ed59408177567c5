"""Findings as a person reads them in a terminal, worst first; at most 100 columns wide."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

from rich.console import Console
from rich.text import Text

from ...core.findings import Finding, Folded, counted_findings, folded, when
from ...core.one_line import one_line
from .table import console_of

INDENT = 9  # columns, as wide as the severity and a space
MOST_LINES = (
    20  # of findings, unless all are asked for: what fits on a screen above a table; chosen, not tried
)
STYLES = {"serious": "bold red", "warning": "bold", "note": ""}


def print_findings(
    findings: Sequence[Finding], console: Console | None = None, everything: bool = False
) -> None:
    """Prints how many findings there are, then one entry a kind, at most 20 lines of them.

    Parameters
    ----------
    findings : in any order
    console : where to; default is the standard output
    everything : every finding by itself with its time, limit and source, however many
    """
    console = console_of(console)
    console.print(Text("findings ", style="bold") + Text(counted_findings(findings)))
    entries = [_whole(f) for f in findings] if everything else [_short(f) for f in folded(findings)]
    left = 0
    room = MOST_LINES
    for severity, lines in entries:
        wrapped = [part for line in lines for part in wrap(line, console.width - INDENT)]
        room -= len(wrapped)
        if room < 0 and not everything:
            left += 1
            continue
        _print_entry(console, severity, wrapped)
    if left:
        console.print(Text(f"{'':<{INDENT}}and {left} more kind{'s' * (left > 1)}: --all prints everything"))


def _print_entry(console: Console, severity: str, lines: Sequence[str]) -> None:
    for number, line in enumerate(map(one_line, lines)):
        head = f"{severity if number == 0 else '':<{INDENT}}"
        console.print(Text(head, style=STYLES[severity]) + Text(line), soft_wrap=True)


def _short(entry: Folded) -> tuple[str, list[str]]:
    """Severity; what, what was done and what to do."""
    worst = entry.worst
    lines = [f"{entry.named}; {worst.handled}" if worst.handled else entry.named]
    if worst.advice and worst.severity != "note":
        lines.append(f"to do: {worst.advice}")
    return worst.severity, lines


def _whole(finding: Finding) -> tuple[str, list[str]]:
    """Severity; when and what; number, limit and source; what was done; what to do."""
    limit = f"limit {number(finding.threshold)} {finding.measure}" if finding.threshold is not None else ""
    lines = [
        f"{when(finding)}: {finding.what}",
        ": ".join(part for part in (limit, finding.source) if part),
        finding.handled and f"done: {finding.handled}",
        finding.advice and f"to do: {finding.advice}",
    ]
    return finding.severity, [line for line in lines if line]


def number(value: float) -> str:
    """A number with as many digits as are worth reading."""
    return f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
