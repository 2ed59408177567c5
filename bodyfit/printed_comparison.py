"""What a person reads after `bodyfit compare`: error by sensor set, units left out, what was refused."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from .comparing import CaseResult, Comparison
from .printed import WIDTH, number, plain_table
from .turn_scores import Score


def print_comparison(
    comparison: Comparison, paths: Sequence[Path] = (), console: Console | None = None
) -> None:
    """Prints the tables and the files written, at most 100 columns wide.

    Parameters
    ----------
    comparison : of one recording
    paths : files written
    console : where to; default is the standard output
    """
    console = console or Console(highlight=False)
    console.width = min(WIDTH, console.width) if console.is_terminal else WIDTH
    console.print()
    lines = {"capture": comparison.title, "against": comparison.against}
    for name, line in lines.items():
        console.print(Text(f"{name:<9}", style="bold") + Text(line))
    console.print()
    sets = [result for result in comparison.results if not result.case.leave_out]
    left = [result for result in comparison.results if result.case.leave_out]
    console.print(_sets(sets, comparison.to_truth))
    if left:
        console.print()
        console.print(_left_out(left))
    for result in comparison.results:
        if result.refused:
            console.print(Padding(Text(f"{result.case.name}: {result.refused}"), (1, 0, 0, 0)))
    console.print()
    console.print(Text("written to " + ", ".join(str(path) for path in paths)), soft_wrap=True)


def _sets(results: Sequence[CaseResult], to_truth: bool) -> Table:
    """Error by sensor set."""
    band = "its own" if to_truth else "the full"
    table = plain_table(
        "sensors", "body", ">RMS\n°", ">median\n°", ">95 %\n°", ">ends\nremoved °", ">about\none axis °",
        ">across\n°", ">axis above\nlevel °", f">in {band}\nband %",
    )  # fmt: skip
    for result in results:
        case, score = result.case, result.overall
        about = (Text(case.short, style="bold"), _body(result))
        table.add_row(*about, *(["refused"] if score is None else _figures(score)))
    return table


def _body(result: CaseResult) -> str:
    return "yes" if result.case.body else "alone"


def _figures(score: Score) -> list[str]:
    degrees = (score.rmse_deg, score.median_deg, score.p95_deg, score.ends_removed_deg)
    axis = (score.about_axis_deg, score.across_axis_deg)
    share = None if score.band_share is None else 100 * score.band_share
    figures = [number(value, 2) for value in (*degrees, *axis)]
    return [*figures, number(score.axis_elevation_deg, 0), number(share, 0)]


def _left_out(results: Sequence[CaseResult]) -> Table:
    """Error with units left out."""
    table = plain_table(
        "without", ">RMS\n°", ">95 %\n°", ">worst\n°", "joint", "neighbours of the gap, RMS °"
    )
    for result in results:
        name, score = Text(", ".join(result.case.leave_out), style="bold"), result.overall
        if score is None:
            table.add_row(name, "refused")
            continue
        worst = max(result.joints, key=lambda joint: result.joints[joint].rmse_deg)
        across = ", ".join(f"{pair} {number(s.rmse_deg, 2)}" for pair, s in result.across.items())
        figures = (score.rmse_deg, score.p95_deg, result.joints[worst].rmse_deg)
        table.add_row(name, *(number(value, 2) for value in figures), Text(worst), Text(across))
    return table
