"""Parts that pages written by bodyfit share: sections, tables, axes, and what every page says at its end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from ...core.cards import NONE as NONE
from ...core.cards import decimals as decimals_of
from .ticks import Tick
from .whole_page import placed

MARKS = {"#": ' class="n"', "~": ' class="b"', "=": ' class="text"'}
SCROLLS = '<p class="scrolls">↔ There is more: scroll sideways.</p>'
CAUTION = (
    "bodyfit is not a medical device. It makes no diagnosis and says nothing about treatment. Do not decide "
    "on anyone's return to work or to sport on its results without a licensed professional. A recording of a "
    "person is personal data: think before you pass this page on."
)


def section(name: str, heading: str, note: str, content: str) -> str:
    """A part of the page, with a line that explains it."""
    return f'<section id="{name}"><h2>{heading}</h2>{_explained(note)}{content}</section>'


def fold(name: str, heading: str, note: str, content: str) -> str:
    """A part of the page behind one line, for what few readers need."""
    return (
        f'<section id="{name}"><details class="fold"><summary><h2>{heading}</h2></summary>'
        f"{_explained(note)}{content}</details></section>"
    )


def _explained(note: str) -> str:
    return f'<p class="small">{note}</p>' if note else ""


def bar(share: float) -> str:
    """A bar beside a number."""
    return f'<span class="bar {placed("pc", width=100 * share)}"></span>' if share > 0 else ""


def table_of(
    caption: str, headings: Sequence[str], rows: Iterable[Sequence[str]], *, titled: bool = False
) -> str:
    """A table of HTML cells, which scrolls where it is too wide, and then says so.

    A heading that starts with # stands over numbers, with ~ over bars, with = over text that may break.
    """
    mark = [MARKS.get(heading[:1], "") for heading in headings]
    names = [escape(heading.lstrip("".join(MARKS))) for heading in headings]
    head = "".join(f'<th scope="col"{m}>{name}</th>' for name, m in zip(names, mark, strict=True))
    body = ""
    for first, *others in rows:
        cells = "".join(f"<td{m}>{cell}</td>" for cell, m in zip(others, mark[1:], strict=True))
        body += f'<tr><th scope="row">{first}</th>{cells}</tr>\n'
    title = f"<caption><span>{escape(caption)}</span></caption>" if titled else ""
    return scrolling(caption, f"<table>{title}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>")


def scrolling(caption: str, table: str) -> str:
    """A table in a frame that scrolls sideways where the window is narrower, and a line that says so."""
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(caption)}">{table}</div>{SCROLLS}'
    )


def decimal(value: float | None, decimals: int, factor: float = 1.0) -> str:
    """The number as text, times a factor; – where it is not known."""
    return decimals_of(None if value is None else factor * value, decimals).replace("-", "−")


def axis_labels(found: Iterable[Tick], unit: str) -> str:
    """Labels below a picture; the outermost ones stay within it."""
    labels = [
        f'<span class="{"first " if t.at < 0.03 else "last " if t.at > 0.97 else ""}'
        f'{placed("pc", left=100 * t.at)}">{t.text} {unit}</span>'
        for t in found
    ]
    return f'<div class="axis">{"".join(labels)}</div>'
