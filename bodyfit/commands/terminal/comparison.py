"""What a person reads after `bodyfit compare`: error by sensor set, units left out, what was refused."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...study.accuracy.scores import Score
from ...study.comparison.result import CaseResult
from ...study.comparison.result import ComparisonResult as Comparison
from .table import NONE, console_of, number, plain_table, print_named, print_written

SIZES = ("rmse_deg", "median_deg", "p95_deg", "ends_removed_deg")
WAYS = ("heading_deg", "inclination_deg", "about_field_deg", "across_field_deg")
TIMES = ("quiet_deg", "shaken_deg", "clean_deg", "bent_deg")


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
    console = console_of(console)
    console.print()
    lines = {"capture": comparison.title, "against": comparison.against}
    if comparison.in_short:
        lines["in short"] = comparison.in_short
    print_named(console, lines, 9)
    sets = [result for result in comparison.results if not result.case.leave_out]
    left = [result for result in comparison.results if result.case.leave_out]
    console.print(Padding(_sizes(sets, comparison.to_truth), (1, 0, 0, 0)))
    console.print(Padding(_ways(sets), (1, 0, 0, 0)))
    if left:
        console.print(Padding(_left_out(left), (1, 0, 0, 0)))
    for result in comparison.results:
        if result.refused:
            console.print(Padding(Text(f"{result.case.name}: {result.refused}"), (1, 0, 0, 0)))
    console.print()
    print_written(console, paths)


def _sizes(results: Sequence[CaseResult], to_truth: bool) -> Table:
    """How large errors are, by sensor set."""
    band = "its own" if to_truth else "the full one’s"
    table = plain_table(
        "sensors", "body", ">error\n°", ">half the\ntime\nbelow °", ">95 % of\nthe time\nbelow °",
        ">constant\nturns taken\noff °", f">inside\n{band} 95 %\nband, %", "which way",
    )  # fmt: skip
    for result in results:
        score = result.overall
        if score is None:
            table.add_row(*_set(result), "refused")
        else:
            table.add_row(*_set(result), *_degrees(score, SIZES), _percent(score.band_share), score.which_way)
    return table


def _ways(results: Sequence[CaseResult]) -> Table:
    """Which way errors go, and when, by sensor set."""
    table = plain_table(
        "error, °", "body", ">heading", ">incli-\nnation", ">about\nthe field", ">the\nrest",
        ">while\nstill", ">while\nshaken", ">field as\nusual", ">field\ndisturbed",
    )  # fmt: skip
    for result in results:
        if result.overall is not None:
            table.add_row(*_set(result), *_degrees(result.overall, (*WAYS, *TIMES)))
    return table


def _set(result: CaseResult) -> tuple[Text, str]:
    return Text(result.case.short, style="bold"), "yes" if result.case.body else "alone"


def _degrees(score: Score, names: Sequence[str]) -> list[str]:
    return [number(getattr(score, name), 2) for name in names]


def _percent(share: float | None) -> str:
    return number(None if share is None else 100 * share, 0)


def _left_out(results: Sequence[CaseResult]) -> Table:
    """Error with units left out: over the joints, of each segment without one, of its neighbours."""
    table = plain_table(
        "without",
        "sensors",
        ">error\n°",
        "its segment",
        ">error\n°",
        ">inside its\n95 % band %",
        "between its neighbours, °",
    )
    for result in results:
        name = Text("\n".join(result.case.leave_out), style="bold")
        if result.overall is None:
            table.add_row(name, result.case.short, "refused")
            continue
        rows = [(n, number(s.rmse_deg, 2), _percent(s.band_share)) for n, s in result.inferred.items()]
        inferred = ["\n".join(column) for column in zip(*rows, strict=True)] or [NONE, "", ""]
        across = "\n".join(f"{pair} {number(s.rmse_deg, 2)}" for pair, s in result.across.items())
        overall = number(result.overall.rmse_deg, 2)
        table.add_row(
            name, result.case.short, overall, Text(inferred[0]), *inferred[1:], Text(across or NONE)
        )
    return table
