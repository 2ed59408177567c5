"""What results show of themselves: bounded text, escaped HTML, one entry a kind of finding."""

from __future__ import annotations

import dataclasses

import pytest

from bodyfit.core.cards import MOST_LINES, MOST_ROWS, WIDTH, Card
from bodyfit.core.findings import Finding, Findings

NASTY = "</div><script>alert(1)</script>\x1b[31m & <img src=x onerror=y>\nnext"
LONG = "word " * 80


@pytest.mark.parametrize("facts", [0, 3, 60])
@pytest.mark.parametrize("rows", [0, 1, 13, 400])
def test_a_card_is_never_more_than_a_screen(facts: int, rows: int) -> None:
    card = Card(LONG, (LONG,) * facts, ("name", ">number", "told"), (("a", "1", LONG),) * rows)
    lines = card.text().splitlines()
    assert len(lines) <= MOST_LINES
    assert max(map(len, lines)) <= WIDTH


@pytest.mark.parametrize("count", [1, 17, 18, 19, 30])
def test_every_row_is_shown_or_counted(count: int) -> None:
    rows = tuple((f"row{number}",) for number in range(count))
    text = Card("title", (), ("name",), rows).text()
    shown = sum(f"row{number}\n" in text + "\n" for number in range(count))
    more = text.splitlines()[-1]
    left = int(more.split()[2]) if "more" in more else 0
    assert shown + left == count
    assert left == 0 or shown == MOST_LINES - 3  # title, headings and the line that counts


def test_html_is_escaped_and_holds_no_script() -> None:
    html = Card(NASTY, (NASTY,), (NASTY,), ((NASTY,),) * (MOST_ROWS + 2)).html()
    assert "<script" not in html and "<img" not in html and "\x1b" not in html
    assert html.count("&lt;script&gt;") == 3 + MOST_ROWS
    assert "… and 2 more" in html


def test_text_holds_nothing_that_a_terminal_would_obey() -> None:
    assert "\x1b" not in Card(NASTY, (NASTY,), (NASTY,), ((NASTY,),)).text()


def test_numbers_stand_flush_right() -> None:
    text = Card("t", (), ("name", ">n"), (("a", "1"), ("b", "100"))).text().splitlines()
    assert text[2].endswith("    1") and text[3].endswith("  100")


FOUND = Finding("gap", "note", "a gap of 0.3 s", "mend it", units=("l_foot",), start=1.0, end=1.3)


def test_findings_show_one_entry_a_kind() -> None:
    many = [dataclasses.replace(FOUND, start=float(n), end=n + 0.3) for n in range(100)]
    shown = Findings([*many, dataclasses.replace(FOUND, kind="worse", severity="serious")])
    lines = repr(shown).splitlines()
    assert lines[0] == "Findings: 1 serious, 100 note"
    assert len(lines) == 4
    assert lines[2].split()[0] == "serious"
    assert "l_foot: a gap of 0.3 s; 99 more alike" in lines[3]
    assert "99 more alike" in shown._repr_html_()


def test_a_part_of_findings_is_findings_and_one_is_one() -> None:
    shown = Findings([FOUND, FOUND, FOUND])
    assert isinstance(shown[1:], Findings) and len(shown[1:]) == 2
    assert shown[0] is FOUND
    assert shown == (FOUND, FOUND, FOUND)


def test_a_list_of_findings_stays_short() -> None:
    long = dataclasses.replace(FOUND, what=LONG, advice=LONG)
    assert repr(FOUND) == "<note gap/l_foot/1.00: a gap of 0.3 s>"
    assert len(repr([long] * 10)) < 2700
