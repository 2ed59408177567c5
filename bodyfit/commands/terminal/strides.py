"""What a person reads after `bodyfit strides`: how many strides a side, and their means and spreads."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...movement.cycles.of_strides import StrideCycles
from ...movement.strides.averages import averages
from ...movement.strides.result import CAUTION, Strides
from .table import console_of, plain_table, print_written


def print_strides(
    found: Strides,
    paths: Sequence[Path] = (),
    curves: StrideCycles | None = None,
    console: Console | None = None,
) -> None:
    """Prints means and spreads by side, what to be wary of, and the files written, at most 100 columns wide.

    Parameters
    ----------
    found : strides of a recording
    paths : files written
    curves : of a fit: cycles, and left against right
    console : where to; default is the standard output
    """
    console = console_of(console)
    console.print(Text("from ", style="bold") + Text(found.found_from))
    console.print(Padding(_table(found), (1, 0, 0, 0)))
    console.print(Text("mean ± standard deviation over strides; – is not known", style="dim"))
    if curves is not None and curves.sides:
        console.print(Padding(_sides_table(curves), (1, 0, 0, 0)))
        console.print(Text("of level strides straight on; symmetry index 100 (L − R) / ((L + R) / 2)", "dim"))
    for finding in (*found.findings, *(curves.findings if curves is not None else ())):
        console.print(Padding(Text(f"{finding.severity}  {finding.sentence}"), (1, 0, 0, 0)))
    console.print(Padding(Text(CAUTION), (1, 0, 0, 0)))
    if paths:
        print_written(console, paths)


def _table(found: Strides) -> Table:
    headings, rows = averages(found.stride_rows(), found.tracks)
    table = plain_table(*headings)
    for row in rows:
        table.add_row(*row)
    return table


def _sides_table(curves: StrideCycles) -> Table:
    """Left less right of what is known of strides; ranges of motion are in sides.csv."""
    table = plain_table("left against right", ">left less right", ">symmetry index, %", ">strides l, r")
    for row in curves.sides:
        if row.quantity.endswith("_range"):
            continue
        factor, unit, decimals = (100.0, "%", 1) if row.unit == "share" else (1.0, row.unit, 3)
        difference = f"{factor * row.difference:.{decimals}f} ± {factor * row.difference_sd:.{decimals}f}"
        index = f"{row.index:.1f} ± {row.index_sd:.1f}"
        counts = f"{row.left_count}, {row.right_count}"
        table.add_row(f"{row.quantity.replace('_', ' ')}, {unit}", difference, index, counts)
    return table
