"""The report opened from a file in headless Chromium, with the network off and WebGL drawn in software."""

from __future__ import annotations

import base64
import json
import time

import example_out
import numpy as np
import pytest
from example_out import FINDINGS, TITLE, write_out
from injected import assert_nothing_came_of_it, with_injected

from bodyfit.study.report.page import write_report

selenium = pytest.importorskip("selenium", reason="selenium is not installed: pip install -e '.[test]'")

from selenium.webdriver.common.by import By  # noqa: E402
from selenium.webdriver.common.keys import Keys  # noqa: E402

PATIENCE = 10.0  # s


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """Address of a report of an invented walk."""
    return write_report(write_out(tmp_path_factory.mktemp("out"))).as_uri()


@pytest.fixture(scope="module")
def loaded(browser, page):
    browser.get(page)
    until(lambda: figure_state(browser) == "yes", "the figure is drawn")
    return browser


@pytest.fixture
def shown(loaded):
    """The browser with the page loaded, its figure drawn, stopped at the start."""
    loaded.execute_script("bodyfitReport.play(false); bodyfitReport.goTo(0)")
    return loaded


def until(true, what: str) -> None:
    end = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < end, f"waited {PATIENCE} s for: {what}"
        time.sleep(0.03)


def press(browser, element) -> None:
    """Clicks on what may lie behind the bar at the window's foot, brought to the middle first."""
    browser.execute_script("arguments[0].scrollIntoView({block: 'center', behavior: 'instant'})", element)
    element.click()


def figure_state(browser):
    return browser.execute_script("return document.getElementById('figure').dataset.ready")


def now(browser) -> float:
    return browser.execute_script("return bodyfitReport.state.time")


def joint(browser) -> str:
    return browser.execute_script("return bodyfitReport.state.joint")


TAKE_PICTURE = """
const from = document.getElementById('canvas'), to = document.createElement('canvas');
[to.width, to.height] = [from.width, from.height];
const drawing = to.getContext('2d');
drawing.drawImage(from, 0, 0);
const rgba = drawing.getImageData(0, 0, to.width, to.height).data, points = new Uint32Array(rgba.buffer);
const vivid = n => {
  const [r, g, b] = [rgba[4 * n], rgba[4 * n + 1], rgba[4 * n + 2]];
  return Math.max(r, g, b) - Math.min(r, g, b) > 45;
};
const body = points.map((colour, n) => vivid(n) ? colour : 0);
const before = (window.bodies ??= []).at(-1);
window.bodies.push(body);
const changed = before ? body.filter((colour, n) => colour !== before[n]).length : body.length;
return [new Set(points).size, changed / body.filter(colour => colour).length];
"""


def picture(browser) -> tuple[int, float]:
    """Number of colours in the figure, and how many points of the body changed since the last call.

    Points of the body are those of a vivid colour, which floor and shade are not; the change is a share of
    how many there are.
    """
    return tuple(browser.execute_script(TAKE_PICTURE))


def test_loads_without_a_complaint_and_fetches_nothing(shown):
    assert shown.get_log("browser") == []
    # the page's own empty icon is all there may be
    fetched = shown.execute_script("return performance.getEntriesByType('resource').map(r => r.name)")
    assert [name for name in fetched if not name.startswith("data:")] == []
    assert shown.find_element(By.TAG_NAME, "h1").text == TITLE
    assert shown.title == TITLE
    assert shown.execute_script("return window.broken") is None
    assert shown.find_elements(By.CSS_SELECTOR, "main i, h1 b") == []


def test_the_figure_is_drawn_and_moves_with_time(shown):
    shown.execute_script("bodyfitReport.goTo(2.0)")
    colours, _ = picture(shown)
    assert colours > 50  # light and shade, not one flat patch
    shown.execute_script("bodyfitReport.goTo(2.4)")
    assert picture(shown)[1] > 0.2
    shown.execute_script("bodyfitReport.goTo(2.4)")
    assert picture(shown)[1] == 0


def test_the_slider_moves_clock_curves_and_figure(shown):
    slider = shown.find_element(By.ID, "slider")
    assert float(slider.get_attribute("min")) == 0.5 and float(slider.get_attribute("max")) == 12.5
    line = "return document.querySelector('#plots .now').getAttribute('x1')"
    was = float(shown.execute_script(line))
    picture(shown)
    shown.execute_script(
        "arguments[0].value = 6.5; arguments[0].dispatchEvent(new Event('input', {bubbles: true}))", slider
    )
    assert now(shown) == 6.5
    assert shown.find_element(By.ID, "clock").text.startswith("6.50 s")
    assert slider.get_attribute("aria-valuetext") == "6.50 s"
    assert float(shown.execute_script(line)) > was + 100
    assert picture(shown)[1] > 0.2


def test_a_finding_leads_to_its_time_and_joint(shown):
    shown.execute_script("bodyfitReport.choose('l_hip')")
    cards = shown.find_elements(By.CSS_SELECTOR, "[data-finding]")
    assert len(cards) == len(FINDINGS)
    press(shown, cards[0])
    assert (now(shown), joint(shown)) == (4.0, "r_knee")
    assert shown.find_element(By.ID, "joint").get_attribute("value") == "r_knee"
    # on its lane, by keyboard; the third finding is about the segment that the left hip carries
    mark = shown.find_element(By.CSS_SELECTOR, "#lanes .warning")
    assert mark.get_attribute("aria-label") == "warning at 8.0 s: 0.4 s are missing."
    mark.send_keys(Keys.ENTER)
    assert (now(shown), joint(shown)) == (8.0, "l_hip")


def test_keys_play_step_and_jump(shown):
    figure = shown.find_element(By.ID, "figure")
    figure.send_keys(Keys.END)
    assert now(shown) == 12.5
    figure.send_keys(Keys.HOME)
    assert now(shown) == 0.5
    figure.send_keys(Keys.ARROW_RIGHT)
    assert now(shown) == pytest.approx(0.5 + 1 / 30, abs=1e-4)
    figure.send_keys(Keys.SHIFT, Keys.ARROW_RIGHT)
    assert now(shown) == pytest.approx(1.5 + 1 / 30, abs=1e-4)
    figure.send_keys(" ")
    started = time.monotonic()
    until(lambda: now(shown) > 1.8, "the figure plays")
    figure.send_keys(" ")
    stopped = now(shown)
    assert stopped - 1.53 < time.monotonic() - started + 0.5  # no faster than life
    time.sleep(0.1)
    assert now(shown) == stopped
    # a button keeps the space bar to itself
    shown.find_element(By.ID, "play").send_keys(" ")
    assert shown.find_element(By.ID, "play").text == "Stop"


def test_what_has_the_focus_is_seen(shown):
    slider = shown.find_element(By.ID, "slider")
    slider.send_keys(Keys.ARROW_RIGHT)
    assert slider.value_of_css_property("outline-style") == "solid"


def test_left_and_right_differ_by_more_than_colour(shown):
    shown.execute_script("bodyfitReport.choose('l_knee')")
    dashes = {
        side: shown.find_element(By.CSS_SELECTOR, f"#plots .curve.{side}").value_of_css_property(
            "stroke-dasharray"
        )
        for side in ("left", "right")
    }
    assert dashes["left"] != "none" and dashes["right"] == "none"
    assert {tag.text for tag in shown.find_elements(By.CSS_SELECTOR, "#tags span")} == {"L", "R"}
    assert "dashed" in shown.find_element(By.ID, "plot-key").text


def test_band_and_published_range_are_drawn_where_they_are(shown):
    shown.execute_script("bodyfitReport.choose('r_knee'); bodyfitReport.goTo(6.5)")
    flexion, adduction, _ = shown.find_elements(By.CSS_SELECTOR, "#plots .plot")
    assert len(flexion.find_elements(By.CSS_SELECTOR, ".band")) == 2
    assert flexion.find_elements(By.CSS_SELECTOR, ".range")
    assert not adduction.find_elements(By.CSS_SELECTOR, ".range")
    # 1 + 2 degrees in the middle of the capture, 1.96 of them to a band of 95 %
    assert "± 5.9°" in flexion.find_element(By.CSS_SELECTOR, ".value").text


def test_fits_a_phone(show_as, shown):
    show_as(400, 800)
    until(lambda: shown.execute_script("return innerWidth") == 400, "the page is narrow")
    assert shown.execute_script("return document.documentElement.scrollWidth") <= 400
    assert shown.find_element(By.CSS_SELECTOR, "#lanes svg").size["width"] <= 400


def test_prints_curves_and_a_still_figure(browser, shown):
    press(shown, shown.find_element(By.ID, "keep"))
    assert len(shown.find_elements(By.CSS_SELECTOR, "#kept .plot svg")) == 3
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"printBackground": True})
    assert base64.b64decode(printed["data"]).startswith(b"%PDF")
    still = shown.find_element(By.ID, "still").get_attribute("src")
    assert still.startswith("data:image/png;base64,") and len(still) > 5000
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        assert not shown.find_element(By.ID, "canvas").is_displayed()
        assert not shown.find_element(By.CSS_SELECTOR, ".transport").is_displayed()
        assert shown.find_element(By.CSS_SELECTOR, "#plots svg").is_displayed()
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_goes_easy_on_those_who_want_less_motion(browser, shown):
    look = "return getComputedStyle(document.documentElement).scrollBehavior"
    wish = [{"name": "prefers-reduced-motion", "value": "reduce"}]
    assert shown.execute_script(look) == "smooth"
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": wish})
    try:
        assert shown.execute_script(look) == "auto"
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_without_3d_the_page_says_so_and_the_rest_works(browser, page):
    script = {"source": "HTMLCanvasElement.prototype.getContext = () => null"}
    handle = browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", script)
    try:
        browser.get(page)
        until(lambda: figure_state(browser) == "no", "the page gives up on the figure")
        assert "no 3-D" in browser.find_element(By.ID, "no-figure").text
        press(browser, browser.find_elements(By.CSS_SELECTOR, "[data-finding]")[0])
        assert (now(browser), joint(browser)) == (4.0, "r_knee")
    finally:
        browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", handle)
        browser.get_log("browser")


def test_an_angle_whose_band_is_wider_than_a_turn_is_not_told(browser, tmp_path, monkeypatch):
    plain = example_out.spread
    monkeypatch.setattr(example_out, "spread", lambda poses: _wide(plain(poses)))
    browser.get(write_report(write_out(tmp_path)).as_uri())
    until(lambda: figure_state(browser) == "yes", "the figure is drawn")
    browser.execute_script(
        "bodyfitReport.play(false); bodyfitReport.choose('r_knee'); bodyfitReport.goTo(6.5)"
    )
    flexion, adduction, _ = browser.find_elements(By.CSS_SELECTOR, "#plots .plot .value")
    assert flexion.text.startswith("not known here") and "±" not in flexion.text
    assert "±" in adduction.text


def test_where_two_turns_are_about_one_axis_the_page_says_which_angle_to_read(browser, tmp_path, monkeypatch):
    plain = example_out.spread
    monkeypatch.setattr(example_out, "spread", lambda poses: _locked(plain(poses)))
    out = write_out(tmp_path)
    told = json.loads((out / "summary.json").read_text())
    told["joints"]["r_knee"]["sequence"] = "YXY"  # whose pole is where adduction is next to nothing
    (out / "summary.json").write_text(json.dumps(told))
    browser.get(write_report(out).as_uri())
    until(lambda: figure_state(browser) == "yes", "the figure is drawn")
    browser.execute_script(
        "bodyfitReport.play(false); bodyfitReport.choose('r_knee'); bodyfitReport.goTo(0.5)"
    )
    flexion, adduction, _ = browser.find_elements(By.CSS_SELECTOR, "#plots .plot .value")
    assert flexion.text.endswith("flexion and internal rotation turn about one axis; read adduction")
    assert "±" in adduction.text


def _locked(spread):
    unknown = {name: np.full_like(spread["r_knee"][name], np.pi) for name in ("flexion", "internal_rotation")}
    spread["r_knee"] = {**spread["r_knee"], **unknown}
    return spread


def _wide(spread):
    spread["r_knee"] = {**spread["r_knee"], "flexion": 0 * spread["r_knee"]["flexion"] + np.radians(95.0)}
    return spread


def test_what_got_into_the_page_does_not_run_and_the_page_still_does(browser, page):
    browser.get(with_injected(page))
    until(lambda: figure_state(browser) == "yes", "the figure is drawn")
    assert_nothing_came_of_it(browser)
    browser.execute_script("bodyfitReport.goTo(1)")
    assert now(browser) == pytest.approx(1.0, abs=0.1)
