"""Parts of pages: numbers, tables and labels as HTML, with what comes from files escaped."""

from __future__ import annotations

import base64
import hashlib
import re
from xml.etree import ElementTree

from bodyfit.study.pages.parts import CAUTION, NONE, axis_labels, bar, decimal, section, table_of
from bodyfit.study.pages.ticks import Tick
from bodyfit.study.pages.whole_page import placed, policy, whole_page


def test_numbers_have_a_true_minus_and_a_dash_where_unknown():
    assert (decimal(-1.25, 1), decimal(0.5, 0, 100), decimal(None, 2)) == ("−1.2", "50", NONE)


def test_a_table_has_a_heading_a_cell_and_marks_its_columns_of_numbers():
    table = table_of("a <b>", ("name", "#value", "~bar"), [("x", "1", bar(0.5))])
    root = ElementTree.fromstring(f"<div>{table}</div>")
    assert root[0].get("aria-label") == "a <b>"
    heads = list(root.iter("th"))
    assert [(h.text, h.get("class")) for h in heads] == [
        ("name", None), ("value", "n"), ("bar", "b"), ("x", None),
    ]  # fmt: skip
    cells = list(root.iter("td"))
    assert cells[0].text == "1" and "width-50pc" in cells[1].find("span").get("class", "")  # type: ignore


def test_nothing_is_drawn_for_a_share_of_nothing():
    assert bar(0.0) == "" and bar(-0.1) == ""


def test_a_section_has_its_heading_and_a_note_only_where_there_is_one():
    assert section("sets", "Sets", "", "<p>x</p>") == '<section id="sets"><h2>Sets</h2><p>x</p></section>'
    assert '<p class="small">why</p>' in section("sets", "Sets", "why", "")


def test_outermost_labels_stay_within_the_picture():
    found = axis_labels([Tick(0.0, "0"), Tick(0.5, "5"), Tick(1.0, "10")], "s")
    spans = list(ElementTree.fromstring(found).iter("span"))
    named = [(span.get("class"), span.text) for span in spans]
    assert named == [("first left-0pc", "0 s"), ("left-50pc", "5 s"), ("last left-100pc", "10 s")]


def test_every_page_can_say_what_it_is_not():
    assert "not a medical device" in CAUTION and "licensed professional" in CAUTION


# --- the page around them ---


def test_a_page_tells_the_browser_the_checksums_of_its_own_styles_and_scripts():
    """W3C CSP Level 3: the base64 of the SHA-256 of an element's text."""
    page = whole_page("a <b>", "<p>body</p>", ["let a = 1 < 2"])
    texts = [text for tag in ("style", "script") for text in re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.S)]
    assert len(texts) == 3 and texts[-1] == "let a = 1 < 2"  # the one style, the shared script, its own
    style, *scripts = (
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in texts
    )
    (told,) = re.findall(r'<meta http-equiv="Content-Security-Policy" content="(.*?)">', page)
    assert dict(rule.split(" ", 1) for rule in told.split("; ")) == {
        **dict.fromkeys(("default-src", "base-uri", "form-action"), "'none'"),
        **{"img-src": "data:", "style-src": style, "script-src": " ".join(scripts)},
    }
    assert "<title>a &lt;b&gt;</title>" in page
    assert "script-src" not in policy(["x"])


def test_places_are_classes_whose_rules_only_pages_that_use_them_hold():
    assert placed("pc", left=12.5, width=-0.001) == "left-12_5pc width-0pc"
    page = whole_page("t", f'<p class="{placed("px", top=3)}">x</p>')
    assert ".top-3px{top:3px}" in page
    assert ".top-3px{" not in whole_page("t", "<p>top-3px</p>")
