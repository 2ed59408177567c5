"""The console, tables and numbers as every command prints them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from ...core.cards import NONE as NONE
from ...core.cards import decimals as decimals_of

WIDTH = 100


def console_of(console: Console | None) -> Console:
    """The console given, or the standard output; at most 100 columns wide.

    Parameters
    ----------
    console : or None

    Returns
    -------
    rich.console.Console
    """
    console = console or Console(highlight=False)
    console.width = min(WIDTH, console.width) if console.is_terminal else WIDTH
    return console


def print_named(console: Console, lines: Mapping[str, str], indent: int) -> None:
    """Prints a line each, its name in bold before it.

    Parameters
    ----------
    console : where to
    lines : name -> what stands beside it
    indent : columns that the name takes
    """
    for name, line in lines.items():
        console.print(Text(f"{name:<{indent}}", style="bold") + Text(line))


def print_written(console: Console, paths: Sequence[Path]) -> None:
    """Prints which files were written, on one line, so that it can be copied."""
    console.print(Text("written to " + ", ".join(str(path) for path in paths)), soft_wrap=True)


def plain_table(*headings: str) -> Table:
    """A table without lines, for a terminal.

    Parameters
    ----------
    headings : of the columns; one that starts with > stands over numbers, flush right

    Returns
    -------
    rich.table.Table
    """
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
    for heading in headings:
        table.add_column(
            heading.removeprefix(">"), justify="right" if heading[0] == ">" else "left", overflow="fold"
        )
    return table


def number(value: float | None, decimals: int) -> str:
    """A number as text, – where it is not known.

    Parameters
    ----------
    value : or None
    decimals : digits after the point

    Returns
    -------
    text
    """
    return decimals_of(value, decimals)
