"""Markdown: tables and numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table, the first column flush left."""
    rule = ["---", *["---:"] * (len(headings) - 1)]
    return "\n".join("| " + " | ".join(row) + " |" for row in (headings, rule, *rows))


def number(value: float) -> str:
    """Two decimals."""
    return f"{value:.2f}"


def numbers(values: Iterable[float]) -> list[str]:
    """Two decimals each."""
    return [number(value) for value in values]


def mean_and_parts(values: Sequence[float]) -> str:
    """The mean, in bold, and what it is the mean of."""
    return f"**{number(sum(values) / len(values))}** ({' '.join(numbers(values))})"
