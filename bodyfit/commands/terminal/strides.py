"""What a person reads after `bodyfit strides`: how many strides a side, and their means and spreads."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...movement.strides.averages import averages
from ...movement.strides.result import CAUTION, Strides
from .table import console_of, plain_table, print_written


def print_strides(found: Strides, paths: Sequence[Path] = (), console: Console | None = None) -> None:
    """Prints means and spreads by side, what to be wary of, and the files written, at most 100 columns wide.

    Parameters
    ----------
    found : strides of a recording
    paths : files written
    console : where to; default is the standard output
    """
    console = console_of(console)
    console.print(Text("from ", style="bold") + Text(found.found_from))
    console.print(Padding(_table(found), (1, 0, 0, 0)))
    console.print(Text("mean ± standard deviation over strides; – is not known", style="dim"))
    for finding in found.findings:
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
