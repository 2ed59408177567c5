"""Findings as cards, a kind each: the worst of it in full, the others in one line each, folded."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ...core.findings import Finding
from .names import Names

MARKS = {"serious": "◆", "warning": "▲", "note": "●"}
MOST_NAMES = 4  # in the head of one finding


def cards(items: Sequence[str]) -> str:
    """Cards side by side."""
    return '<ol class="findings">\n' + "\n".join(items) + "\n</ol>"


def card(worst: Finding, names: Names, head: str, limit: str, others: Sequence[str], name: str = "") -> str:
    """One kind of finding.

    Parameters
    ----------
    worst : the most harmful of the kind
    names : to say names in words
    head : HTML: severity, whom it is about, when
    limit : what was measured, and the limit; plain text
    others : HTML, one a further finding of the kind
    name : of the card within the page; empty: none

    Returns
    -------
    HTML
    """
    parts = [
        f'<p class="what">{_sentence(worst.what, names)}</p>',
        f'<p class="advice">{_sentence(worst.advice, names)}</p>' if worst.advice else "",
        f"<p>Done about it: {_sentence(worst.handled, names)}</p>" if worst.handled else "",
        f'<p class="small">{escape(limit)}</p>' if limit else "",
        _more(others),
    ]
    place = f' id="{name}" tabindex="-1"' if name else ""
    mark = f'<span class="mark" aria-hidden="true">{MARKS[worst.severity]}</span> '
    return f'<li class="{worst.severity}"{place}>{_marked(head, mark)}{"".join(parts)}</li>'


def _marked(head: str, mark: str) -> str:
    """The mark goes inside the first element of the head."""
    opened, _, rest = head.partition(">")
    return f"{opened}>{mark}{rest}"


def _more(others: Sequence[str]) -> str:
    if not others:
        return ""
    items = "".join(f"<li>{item}</li>" for item in others)
    return f"<details><summary>{len(others)} more alike</summary><ul>{items}</ul></details>"


def _sentence(text: str, names: Names) -> str:
    """The text with its names in words, a capital and a full stop."""
    said = names.within(text)
    said = said[:1].upper() + said[1:]
    return escape(said if said.endswith((".", "!", "?")) else f"{said}.")


def few(names: Sequence[str]) -> str:
    """The first names, and how many more there are."""
    shown = (
        names if len(names) <= MOST_NAMES + 1 else [*names[:MOST_NAMES], f"{len(names) - MOST_NAMES} more"]
    )
    return ", ".join(shown)


def when(found: Finding) -> str:
    """When a finding holds, in words."""
    if found.start is None:
        return "throughout"
    if found.end is None or found.end - found.start < 0.005:
        return f"at {found.start:.2f} s"
    return f"{found.start:.2f} to {found.end:.2f} s"


def limit_of(found: Finding) -> str:
    """Number, limit and source, as far as the finding gives them, and its kind."""
    unit = "°" if found.measure == "deg" else f" {found.measure}".rstrip()
    parts = [
        f"measured {_short(found.value)}{unit}" if found.value is not None else "",
        f"limit {_short(found.threshold)}{unit}" if found.threshold is not None else "",
        f"limit from: {found.source}" if found.source else "",
        found.kind.replace("-", " "),
    ]
    return "; ".join(part for part in parts if part)


def _short(value: float) -> str:
    """Three figures, and never a power of ten."""
    text = f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"
    return text.replace("-", "−") if "e" not in text else f"{value:.6f}".rstrip("0")
