"""How a result shows itself at a prompt and in a notebook: a title, facts, one table; a screen at most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from textwrap import wrap

from .one_line import one_line

MOST_LINES = 20  # of text: what fits on a screen with room for the next line typed; chosen; not tried
MOST_ROWS = 40  # of a table in a notebook, which scrolls: about two screens; chosen; not tried
WIDTH = 100  # columns of text, common practice
NARROWEST = 20  # columns left for the last column of a table, which is wrapped; by reasoning
INDENT = "  "
NONE = "–"


@dataclass(frozen=True)
class Card:
    """What an object shows of itself; plain text, escaped only where it becomes HTML.

    Attributes
    ----------
    title : one line
    facts : one line each
    headings : of a table's columns; one that starts with > stands over numbers, flush right
    rows : of the table, most important first: what does not fit is counted
    """

    title: str
    facts: tuple[str, ...] = ()
    headings: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()

    def text(self) -> str:
        """The card as text, at most `MOST_LINES` lines of at most `WIDTH` columns."""
        lines = [_cut(self.title)]
        for fact in self.facts:
            lines += wrap(one_line(fact), WIDTH, initial_indent=INDENT, subsequent_indent=2 * INDENT)
        return "\n".join(_fitted(lines, self._table()))

    def html(self) -> str:
        """The card as HTML: every word of it escaped, no script, no style sheet."""
        facts = "".join(f"<div>{_escaped(fact)}</div>" for fact in self.facts)
        head = "".join(f"<th{_flush(h)}>{_escaped(h.removeprefix('>'))}</th>" for h in self.headings)
        body = "".join(f"<tr>{self._cells(row)}</tr>" for row in self.rows[:MOST_ROWS])
        table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>" if self.rows else ""
        more = len(self.rows) - MOST_ROWS
        left = f"<div>… and {more} more</div>" if more > 0 else ""
        return f"<div><strong>{_escaped(self.title)}</strong>{facts}{table}{left}</div>"

    def _cells(self, row: Sequence[str]) -> str:
        pairs = zip(row, self.headings, strict=True)
        return "".join(f"<td{_flush(heading)}>{_escaped(cell)}</td>" for cell, heading in pairs)

    def _table(self) -> list[list[str]]:
        """The lines of each row of the table, its headings first; the last column is wrapped."""
        if not self.rows:
            return []
        cells = [[h.removeprefix(">") for h in self.headings], *([one_line(c) for c in r] for r in self.rows)]
        widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
        room = max(WIDTH - len(INDENT) - sum(widths[:-1]) - 2 * (len(widths) - 1), NARROWEST)
        out = []
        for row in cells:
            last = wrap(row[-1], room) or [""]
            last = [
                last[0].rjust(min(widths[-1], room)) if self.headings[-1][0] == ">" else last[0],
                *last[1:],
            ]
            parts = zip(row[:-1], self.headings, widths, strict=False)
            first = [c.rjust(w) if h[0] == ">" else c.ljust(w) for c, h, w in parts]
            start = INDENT + "".join(f"{part}  " for part in first)
            out.append([_cut(start + last[0]), *(_cut(" " * len(start) + part) for part in last[1:])])
        return out


class Shown:
    """Something that shows itself by its card, at a prompt and in a notebook."""

    def _card(self) -> Card:
        """What to show."""
        raise NotImplementedError

    def __repr__(self) -> str:
        return self._card().text()

    def _repr_html_(self) -> str:
        return self._card().html()


def counted(number: int, word: str) -> str:
    """A number with its noun: "1 unit", "4 units"."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def decimals(value: float | None, digits: int) -> str:
    """A number as text; – where it is not known."""
    return NONE if value is None else f"{round(value, digits) + 0.0:.{digits}f}"


def _fitted(lines: list[str], table: list[list[str]]) -> list[str]:
    """Lines and whole rows as far as there is room, and how many were left off."""
    if len(lines) > MOST_LINES or (table and len(lines) + len(table[0]) >= MOST_LINES):
        return [*lines[: MOST_LINES - 1], f"{INDENT}…"]
    for number, row in enumerate(table):
        rest = len(table) - number
        room = MOST_LINES - len(lines) - (1 if rest > 1 else 0)
        if len(row) > room:
            return [*lines, f"{INDENT}… and {rest} more"]
        lines = [*lines, *row]
    return lines


def _cut(line: str) -> str:
    line = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line)
    return line if len(line) <= WIDTH else f"{line[: WIDTH - 1]}…"


def _escaped(text: str) -> str:
    return escape(one_line(text))


def _flush(heading: str) -> str:
    return ' style="text-align: right"' if heading.startswith(">") else ""
