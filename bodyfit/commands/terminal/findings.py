"""Findings as a person reads them in a terminal, worst first; at most 100 columns wide."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from ...core.findings import SEVERITIES, Finding

WIDTH = 100
STYLES = {"serious": "bold red", "warning": "bold", "note": ""}


def print_findings(findings: Sequence[Finding], caution: str, console: Console | None = None) -> None:
    """Prints how many findings there are, then each with its time, number, limit, source and advice.

    Parameters
    ----------
    findings : in the order to be printed
    caution : sentence that stands at the end
    console : where to; default is the standard output
    """
    console = console or Console(highlight=False)
    console.width = min(WIDTH, console.width) if console.is_terminal else WIDTH
    counts = [(sum(f.severity == s for f in findings), s) for s in reversed(SEVERITIES)]
    console.print(Text(", ".join(f"{count} {severity}" for count, severity in counts)))
    console.print()
    for finding in findings:
        head = Text(f"{finding.severity:<8}", style=STYLES[finding.severity])
        console.print(head + Text(f"{when(finding)}  {finding.what}"))
        limit = (
            f"limit {number(finding.threshold)} {finding.measure}" if finding.threshold is not None else ""
        )
        for line in (": ".join(part for part in (limit, finding.source) if part), finding.advice):
            console.print(Padding(Text(line, style="dim"), (0, 0, 0, 8)))
    console.print()
    console.print(Text(caution))


def when(finding: Finding) -> str:
    """The time of a finding: a span, an instant, or throughout."""
    if finding.start is None:
        return "throughout"
    if finding.end is None or finding.end - finding.start < 0.005:
        return f"{finding.start:.2f} s"
    return f"{finding.start:.2f}–{finding.end:.2f} s"


def number(value: float) -> str:
    """A number with as many digits as are worth reading."""
    return f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
