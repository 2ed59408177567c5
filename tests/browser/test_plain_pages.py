"""Pages of a plan and of a comparison opened from a file in headless Chromium, with the network off."""

from __future__ import annotations

from itertools import pairwise
from math import radians
from pathlib import Path

import example_inspection
import numpy as np
import pytest
from injected import assert_nothing_came_of_it, with_injected

from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.recording.capture import Unit
from bodyfit.study.accuracy.scores import Score
from bodyfit.study.comparison.cases import Case
from bodyfit.study.comparison.compare import Comparison
from bodyfit.study.comparison.result import CaseResult
from bodyfit.study.inspection.page import write_inspection_page
from bodyfit.study.planning.question import Question
from bodyfit.study.planning.search import search

pytest.importorskip("selenium", reason="selenium is not installed: pip install -e '.[test]'")

from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

STAIRS = Path(__file__).resolve().parents[2] / "demo_captures" / "steel_stairs"
SCORE = Score(1.5, 1.0, 3.0, 0.7, 1.0, 1.1, 1.1, 1.0, 1.0, 2.0, 1.0, 2.0, 45.0, 1.4, 0.5, 0.95)
SIX = ("accelerometer", "gyroscope")


@pytest.fixture(scope="module")
def pages(tmp_path_factory) -> dict[str, str]:
    """Addresses of a plan for seven segments, its errors invented, of an invented comparison, of what is seen
    in invented signals.
    """
    out = tmp_path_factory.mktemp("pages")
    _plan().write(out)
    _comparison().write(out)
    time = np.arange(0.0, 60.0, 0.05)
    signals = [np.column_stack([np.sin(time), np.cos(time), time * 0 + k]) for k in (9, 1)]
    units = {name: Unit(name, name[:-5], time, *signals) for name in ("l_calf_unit", "r_calf_unit")}
    write_inspection_page(example_inspection.example(units), out / "inspection.html")
    return {name: (out / f"{name}.html").as_uri() for name in ("plan", "comparison", "inspection")}


def _plan():
    motion = read_motion(STAIRS, read_model("lower_body")).between(5.0, 9.0)
    question = Question(motion, {("l_knee", "flexion"): radians(5), ("r_knee", "flexion"): radians(3)})

    def work(jobs):
        errors = [{f"{j}.{a}": 0.4 / job.worn.units**2 for j, a in question.tolerance} for job in jobs]
        slips = {"slips": 0.0}
        return [[e | slips] * job.count or [e] for job, e in zip(jobs, errors, strict=True)]

    return search(question, work, about={"motion": "steel_stairs, 4.0 s of it", "seed": "0"})


def _comparison() -> Comparison:
    time = np.linspace(0, 10, 50)
    points = [[0, 0, 0, round(250 * np.sin(t)), round(-250 * np.cos(t)), 0] for t in time]
    figure = {"time_s": time.tolist(), "points": points}
    curve = {"time_s": time.tolist(), "all": [1.5 + float(np.sin(t)) for t in time]}
    joints = {name: SCORE for name in ("l_hip", "l_knee", "l_talocrural", "r_hip", "r_knee")}
    cases = [Case(SIX), Case(SIX, False), Case(SIX, True, ("l_calf_unit",))]
    results = [CaseResult(c, joints, SCORE, {}, {"l_calf": SCORE}, curve, {}, figure) for c in cases]
    return Comparison("A walk", "the truth", True, tuple(results), [(0, 1)], figure)


@pytest.fixture(params=["plan", "comparison"])
def shown(request, browser, pages):
    browser.get(pages[request.param])
    return browser


def test_loads_without_a_complaint_and_fetches_nothing(shown):
    assert shown.get_log("browser") == []
    fetched = shown.execute_script("return performance.getEntriesByType('resource').map(r => r.name)")
    assert [name for name in fetched if not name.startswith("data:")] == []
    assert "not a medical device" in shown.find_element(By.CSS_SELECTOR, ".caution").text
    assert all(th.text for th in shown.find_elements(By.CSS_SELECTOR, "thead th"))


@pytest.mark.parametrize("width", [1280, 400])
def test_curves_are_within_their_picture_and_labels_apart(shown, show_as, width):
    show_as(width, 800)
    plots = shown.find_elements(By.CSS_SELECTOR, ".plot")
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


def test_nothing_but_tables_is_wider_than_a_phone(shown, show_as):
    show_as(400, 800)
    assert shown.execute_script("return innerWidth") == 400
    assert shown.execute_script("return document.documentElement.scrollWidth") <= 400
    for table in shown.find_elements(By.CSS_SELECTOR, ".wide"):
        assert table.get_attribute("tabindex") == "0" and table.get_attribute("aria-label")


def test_tables_fit_a_desk_screen(shown, show_as):
    show_as(1280, 900)
    for table in shown.find_elements(By.CSS_SELECTOR, ".wide"):
        assert table.get_property("scrollWidth") <= table.get_property("clientWidth")


def test_the_first_key_leads_to_the_table(shown):
    skip = shown.find_element(By.CSS_SELECTOR, ".skip")
    shown.find_element(By.TAG_NAME, "body").send_keys(Keys.TAB)
    assert shown.switch_to.active_element == skip
    skip.send_keys(Keys.ENTER)
    assert shown.current_url.endswith("#sets")
    shown.switch_to.active_element.send_keys(Keys.TAB)
    focused = shown.switch_to.active_element
    assert focused.get_attribute("class") == "wide"
    assert focused.value_of_css_property("outline-style") == "solid"


def test_the_two_curves_differ_by_more_than_colour(shown):
    dashes = {
        line.value_of_css_property("stroke-dasharray")
        for line in shown.find_elements(By.CSS_SELECTOR, ".plot polyline")
    }
    assert len(dashes) == 2 and "none" in dashes


def test_figures_of_a_comparison_move_with_the_slider(browser, pages):
    browser.get(pages["comparison"])
    picture = "return [...document.querySelectorAll('canvas')].map(c => c.toDataURL())"
    before = browser.execute_script(picture)
    assert len(before) == 3
    browser.find_element(By.ID, "clock").send_keys(Keys.END)
    after = browser.execute_script(picture)
    assert all(a != b for a, b in zip(before, after, strict=True))
    assert browser.find_element(By.ID, "shown").text == "10.0 s"


def test_left_out_units_are_told_with_their_sensors(browser, pages):
    browser.get(pages["comparison"])
    row = browser.find_element(By.CSS_SELECTOR, "#left-out tbody tr").text
    assert row.startswith("l_calf_unit acc+gyro 1.50")


def test_what_an_inspection_places_stands_where_it_is_placed(browser, pages):
    """Against the page's own numbers, read from its classes; places were style attributes once."""
    browser.get(pages["inspection"])
    assert browser.get_log("browser") == []
    for css, style in (("bar", "width"), ("line", "left"), ("lane", "top")):
        found = browser.find_elements(By.CSS_SELECTOR, f".{css}")
        assert found
        for element in found:
            name = next(n for n in element.get_attribute("class").split() if n.startswith(f"{style}-"))
            value = float(name[len(style) + 1 : -2].replace("_", "."))
            around = element.find_element(By.XPATH, "..").rect
            size = around["height" if style == "top" else "width"] / 100 if name.endswith("pc") else 1.0
            measured = float(element.value_of_css_property(style).removesuffix("px"))
            padding = 0.06 * around["width"] if css == "bar" else 0.0  # of the table's cell
            assert measured == pytest.approx(value * size, abs=1.0 + padding)


@pytest.mark.parametrize("name", ["plan", "comparison", "inspection"])
def test_what_got_into_a_page_does_not_run(browser, pages, name):
    browser.get(with_injected(pages[name]))
    assert_nothing_came_of_it(browser)
    assert browser.find_element(By.TAG_NAME, "h1").is_displayed()
    if name == "comparison":
        browser.find_element(By.ID, "clock").send_keys(Keys.END)
        assert browser.find_element(By.ID, "shown").text == "10.0 s"
