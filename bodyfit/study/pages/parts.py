"""Parts that pages written by bodyfit share: sections, tables, axes, and what every page says at its end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from .ticks import Tick
from .whole_page import placed

NONE = "–"
CAUTION = (
    "bodyfit is not a medical device. It makes no diagnosis and says nothing about treatment. Do not decide "
    "on anyone's return to work or to sport on its results without a licensed professional. A recording of a "
    "person is personal data: think before you pass this page on."
)


def section(name: str, heading: str, note: str, content: str) -> str:
    """A part of the page, with a line that explains it."""
    note = f'<p class="soft">{note}</p>' if note else ""
    return f'<section id="{name}"><h2>{heading}</h2>{note}{content}</section>'


def bar(share: float) -> str:
    """A bar beside a number."""
    return f'<span class="bar {placed("pc", width=100 * share)}"></span>' if share > 0 else ""


def table_of(caption: str, headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table of HTML cells, which scrolls where it is too wide.

    A heading that starts with # stands over numbers, one that starts with ~ over bars.
    """
    mark = [{"#": ' class="n"', "~": ' class="b"'}.get(heading[:1], "") for heading in headings]
    names = [escape(heading.lstrip("#~")) for heading in headings]
    head = "".join(f'<th scope="col"{m}>{name}</th>' for name, m in zip(names, mark, strict=True))
    body = ""
    for first, *others in rows:
        cells = "".join(f"<td{m}>{cell}</td>" for cell, m in zip(others, mark[1:], strict=True))
        body += f'<tr><th scope="row">{first}</th>{cells}</tr>'
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(caption)}">'
        f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def decimal(value: float | None, decimals: int, factor: float = 1.0) -> str:
    """The number as text, times a factor; – where it is not known."""
    return NONE if value is None else f"{factor * value:.{decimals}f}".replace("-", "−")


def axis_labels(found: Iterable[Tick], unit: str) -> str:
    """Labels below a picture; the outermost ones stay within it."""
    labels = [
        f'<span class="{"first " if t.at < 0.03 else "last " if t.at > 0.97 else ""}'
        f'{placed("pc", left=100 * t.at)}">{t.text} {unit}</span>'
        for t in found
    ]
    return f'<div class="axis">{"".join(labels)}</div>'
