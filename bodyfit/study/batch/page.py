"""batch.html: a study at a glance, the captures to look at first on top, each linked to its report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from urllib.parse import quote

import numpy as np

from ...body.anatomy import spoken
from ...version import __version__
from ..pages.parts import CAUTION, NONE, decimal, section, table_of
from ..pages.whole_page import whole_page
from .result import DONE, FAILED, Row, first_to_look_at

FENCE = 1.5  # × the middle half's width beyond it: Tukey, Exploratory Data Analysis (1977), outer values
FEWEST = 5  # captures to compare a range with: common practice, quartiles of fewer mean little


def page_of(rows: Sequence[Row], total: int) -> str:
    """The whole page.

    Parameters
    ----------
    rows : of captures that are finished
    total : captures of the batch
    """
    title = f"Batch of {total} captures"
    body = [
        '<a class="skip" href="#captures">To the captures</a>',
        f"<header><h1>{title}</h1>{_lead(rows, total)}</header>",
        f"<main>{_captures(rows)}{_ranges(rows)}</main>",
        f'<footer><p class="caution">{escape(CAUTION)}</p>',
        f'<p class="small">Made with bodyfit {escape(__version__)}.</p></footer>',
    ]
    return whole_page(title, "\n".join(body))


def _lead(rows: Sequence[Row], total: int) -> str:
    """One line: how many are done, failed, not finished."""
    done = sum(row.state == DONE for row in rows)
    failed = sum(row.state == FAILED for row in rows)
    serious = sum(bool(row.findings.get("serious")) for row in rows)
    told = f"{done} done, {failed} failed, {serious} with serious findings"
    more = f"; {total - len(rows)} not finished: call the command again to go on" if len(rows) < total else ""
    return f'<p class="answer">{told}{more}.</p>'


def _captures(rows: Sequence[Row]) -> str:
    """The captures, first those to look at."""
    headings = (
        "capture",
        "state",
        "#serious",
        "#warnings",
        "#notes",
        "#seconds",
        "#iterations",
        "=what to know",
    )
    cells = [_capture(row) for row in sorted(rows, key=first_to_look_at)]
    note = "Those to look at first on top: failed, not converged, then by serious findings and warnings."
    return section("captures", "Captures", note, table_of("Captures", headings, cells))


def _capture(row: Row) -> tuple[str, ...]:
    name = escape(row.name)
    if row.state == DONE:
        name = f'<a href="{quote(row.name)}/report.html">{name}</a>'
    counts = [
        str(row.findings.get(word, 0)) if row.findings else NONE for word in ("serious", "warning", "note")
    ]
    told = row.reason or ("the solver did not converge" if row.converged is False else row.title)
    iterations = NONE if row.iterations is None else str(row.iterations)
    return (name, row.state, *counts, decimal(row.seconds, 1), iterations, escape(told))


def _ranges(rows: Sequence[Row]) -> str:
    """Ranges of motion, a table a joint; values far from the other captures' are marked."""
    done = [row for row in rows if row.state == DONE]
    joints = dict.fromkeys(joint for row in done for joint in row.ranges)
    note = (
        "Least to greatest angle while it is known, degrees. ◆: an end lies far outside those of the other "
        f"captures (over {FENCE:g} times the middle half's width beyond it, of {FEWEST} captures or more): "
        "look there first."
    )
    tables = "".join(_joint(joint, done) for joint in joints)
    return section("ranges", "Ranges of motion", note, f'<div class="columns">{tables}</div>')


def _joint(joint: str, rows: Sequence[Row]) -> str:
    with_it = [row for row in rows if joint in row.ranges]
    angles = list(dict.fromkeys(angle for row in with_it for angle in row.ranges[joint]))
    odd = {angle: _odd(row.ranges[joint].get(angle) for row in with_it) for angle in angles}
    cells = [
        (
            escape(row.name),
            *(_ends(row.ranges[joint].get(angle), bool(odd[angle][k])) for angle in angles),
        )
        for k, row in enumerate(with_it)
    ]
    headings = ("capture", *(f"#{angle.replace('_', ' ')}" for angle in angles))
    return f"<div>{table_of(f'Ranges of {spoken(joint)}', headings, cells, titled=True)}</div>"


def _ends(both: tuple[float, float] | None, odd: bool) -> str:
    if both is None:
        return NONE
    return ("◆ " if odd else "") + " to ".join(decimal(end, 0) for end in both)


def _odd(ends: Iterable[tuple[float, float] | None]) -> np.ndarray:
    """(N,) bool: an end lies beyond the fences of all captures' ends."""
    values = np.array([(np.nan, np.nan) if both is None else both for both in ends], float)
    if np.isfinite(values[:, 0]).sum() < FEWEST:
        return np.zeros(len(values), bool)
    low, high = np.nanpercentile(values, [25, 75], axis=0)
    beyond = FENCE * (high - low)
    return ((values < low - beyond) | (values > high + beyond)).any(axis=1)
