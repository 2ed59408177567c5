"""Every page opened from a file in headless Chromium, with the network off: what holds for all of them."""

from __future__ import annotations

from itertools import pairwise

import axe
import pytest
from five_pages import KINDS
from injected import assert_nothing_came_of_it, with_injected

pytest.importorskip("selenium", reason="selenium is not installed: pip install -e '.[test]'")

from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

BEYOND = """
const wide = document.documentElement.clientWidth;
return [...document.querySelectorAll('body *')].filter(element => {
  const box = element.getBoundingClientRect();
  return box.width && box.right > wide + 1 && !element.closest('.wide, .skip, svg');
}).map(element => element.outerHTML.slice(0, 90));
"""
DRAWN = "requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(arguments[0], 50)))"
TEXTS = """
const out = [];
for (const element of document.querySelectorAll('body *')) {
  const own = [...element.childNodes].some(node => node.nodeType === 3 && node.textContent.trim());
  if (own && element.getClientRects().length && !element.closest('svg, script, noscript')) {
    out.push(parseFloat(getComputedStyle(element).fontSize));
  }
}
return [...new Set(out)];
"""


@pytest.fixture(params=KINDS)
def shown(request, browser, pages):
    browser.get(pages[request.param])
    return browser


def test_loads_without_a_complaint_and_fetches_nothing(shown):
    assert shown.get_log("browser") == []
    fetched = shown.execute_script("return performance.getEntriesByType('resource').map(r => r.name)")
    assert [name for name in fetched if not name.startswith("data:")] == []
    assert "not a medical device" in shown.find_element(By.TAG_NAME, "body").text.lower()
    assert all(th.get_property("textContent") for th in shown.find_elements(By.CSS_SELECTOR, "thead th"))


@pytest.mark.parametrize("width", [1400, 390])
def test_the_checker_finds_no_serious_fault(shown, show_as, width):
    show_as(width, 900)
    shown.execute_script("for (const one of document.querySelectorAll('details')) one.open = true")
    assert axe.faults(shown) == []


def test_the_checker_would_find_one(browser, pages):
    browser.get(pages["plan"])
    browser.execute_script("document.querySelector('.small').style.color = '#bbb'")
    assert any("color-contrast" in fault for fault in axe.faults(browser))


def test_nothing_reaches_past_a_phone_and_tables_that_scroll_say_so(shown, show_as):
    show_as(390, 800)
    shown.execute_script("for (const one of document.querySelectorAll('details')) one.open = true")
    assert shown.execute_script("return innerWidth") == 390
    shown.execute_async_script(DRAWN)
    assert shown.execute_script(BEYOND) == []
    tables = shown.find_elements(By.CSS_SELECTOR, ".wide")
    assert tables
    for table in tables:
        assert table.get_attribute("tabindex") == "0" and table.get_attribute("aria-label")
        hint = table.find_element(By.XPATH, "following-sibling::*[1]")
        scrolls = table.get_property("scrollWidth") > table.get_property("clientWidth") + 1
        assert hint.is_displayed() == scrolls, table.get_attribute("aria-label")


def test_a_desk_screen_is_used_and_tables_fit_it(shown, show_as):
    show_as(1400, 900)
    assert shown.find_element(By.TAG_NAME, "main").size["width"] > 1250
    assert shown.execute_script(BEYOND) == []
    for table in shown.find_elements(By.CSS_SELECTOR, ".wide"):
        assert table.get_property("scrollWidth") <= table.get_property("clientWidth") + 1


def test_letters_come_in_few_sizes(shown, show_as):
    """Big, head, 1.05 for folded heads, usual, .88 in tables, small, code in small, .75 on flags and tags."""
    show_as(1400, 900)
    sizes = shown.execute_script(TEXTS)
    assert len(sizes) <= 9 and min(sizes) >= 11.5


def test_the_first_key_skips_to_what_the_page_is_about_and_is_seen(shown):
    skip = shown.find_element(By.CSS_SELECTOR, ".skip")
    shown.find_element(By.TAG_NAME, "body").send_keys(Keys.TAB)
    assert shown.switch_to.active_element == skip
    assert skip.value_of_css_property("outline-style") == "solid" and skip.rect["x"] >= 0
    target = skip.get_attribute("href").split("#")[1]
    skip.send_keys(Keys.ENTER)
    assert shown.current_url.endswith(f"#{target}")
    shown.switch_to.active_element.send_keys(Keys.TAB)
    focused = shown.switch_to.active_element
    assert focused != skip and focused.value_of_css_property("outline-style") == "solid"


@pytest.mark.parametrize("kind", KINDS)
def test_what_has_got_into_a_page_does_not_run(browser, pages, kind):
    browser.get(with_injected(pages[kind]))
    assert_nothing_came_of_it(browser)


# ---- comparison ----


@pytest.mark.parametrize("width", [1400, 390])
def test_curves_are_within_their_picture_and_labels_apart(browser, pages, show_as, width):
    show_as(width, 800)
    browser.get(pages["comparison"])
    browser.execute_script("for (const one of document.querySelectorAll('details')) one.open = true")
    plots = browser.find_elements(By.CSS_SELECTOR, ".chart")
    assert plots
    for plot in plots:
        field = plot.find_element(By.CSS_SELECTOR, "svg").rect
        curves = plot.find_elements(By.CSS_SELECTOR, "polyline")
        assert len(curves) >= 2
        for curve in (c.rect for c in curves):
            assert curve["y"] >= field["y"] - 1
            assert curve["y"] + curve["height"] <= field["y"] + field["height"] + 1
        labels = [label.rect for label in plot.find_elements(By.CSS_SELECTOR, ".axis span")]
        assert len(labels) > 1
        assert all(a["x"] + a["width"] < b["x"] for a, b in pairwise(labels))
    dashes = {
        line.value_of_css_property("stroke-dasharray")
        for line in browser.find_elements(By.CSS_SELECTOR, ".chart polyline")
    }
    assert len(dashes) == 2 and "none" in dashes  # the two differ by more than colour


PICTURES = "return [...document.querySelectorAll('canvas')].map(c => c.toDataURL())"
SEEN = """
const canvas = document.querySelector('canvas'), pen = canvas.getContext('2d');
const rgba = pen.getImageData(0, 0, canvas.width, canvas.height).data;
const wanted = arguments[0].map(hex => [1, 3, 5].map(k => parseInt(hex.slice(k, k + 2), 16)).join());
let edge = 0;
const count = Object.fromEntries(wanted.map(colour => [colour, 0]));
for (let n = 0; n < rgba.length; n += 4) {
  const colour = [rgba[n], rgba[n + 1], rgba[n + 2]].join();
  const x = n / 4 % canvas.width, y = Math.floor(n / 4 / canvas.width);
  if (rgba[n + 3] && colour in count) {
    count[colour]++;
    edge += x < 2 || y < 2 || x > canvas.width - 3 || y > canvas.height - 3;
  }
}
return [Object.values(count), edge];
"""


def test_figures_of_a_comparison_play_in_step_and_turn(browser, pages):
    browser.get(pages["comparison"])
    before = browser.execute_script(PICTURES)
    assert len(before) == 3
    clock = browser.find_element(By.ID, "clock")
    clock.send_keys(Keys.END)
    after = browser.execute_script(PICTURES)
    assert all(a != b for a, b in zip(before, after, strict=True))
    assert browser.find_element(By.ID, "shown").text == "10.0 s"
    browser.find_element(By.ID, "turn").send_keys(Keys.ARROW_RIGHT, Keys.ARROW_RIGHT)
    assert all(a != b for a, b in zip(after, browser.execute_script(PICTURES), strict=True))
    play = browser.find_element(By.ID, "play")
    play.send_keys(" ")
    assert play.get_attribute("aria-pressed") == "true" and play.text == "Stop"
    play.send_keys(" ")
    assert play.get_attribute("aria-pressed") == "false"


def test_a_figure_shows_both_sides_in_their_colours_and_all_of_it(browser, pages):
    from bodyfit.core.colours import SIDES

    browser.get(pages["comparison"])
    (left, right, middle), cut = browser.execute_script(SEEN, [SIDES[s] for s in ("left", "right", "middle")])
    assert min(left, right, middle) > 300 and cut == 0
    names = [figure.text for figure in browser.find_elements(By.CSS_SELECTOR, ".players figcaption")]
    assert names[0].splitlines() == ["1.5°", "accelerometer + gyroscope"]
    assert names[2].splitlines() == ["1.5°", "accelerometer + gyroscope", "without l_calf_unit"]


def test_left_out_units_are_told_with_their_sensors(browser, pages):
    browser.get(pages["comparison"])
    row = browser.find_element(By.CSS_SELECTOR, "#left-out tbody tr").get_property("textContent")
    assert row.startswith("l_calf_unitaccelerometer + gyroscope1.50")
