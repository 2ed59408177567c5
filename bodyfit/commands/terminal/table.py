"""Tables in the terminal."""

from __future__ import annotations

from rich.table import Table

WIDTH = 100
NONE = "–"


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
    return NONE if value is None else f"{value:.{decimals}f}"
