"""What happened, in headless Chromium: pictures are drawn, times lead to the figure, nothing is too wide."""

from __future__ import annotations

import time

import pytest
from example_happened import write_happened
from example_out import walk, write_out

from bodyfit.study.report.page import write_report

pytest.importorskip("selenium", reason="selenium is not installed: pip install -e '.[test]'")

from selenium.webdriver.common.by import By

PATIENCE = 20.0  # s


@pytest.fixture(scope="module")
def loaded(browser, tmp_path_factory):
    poses = walk(seconds=8.0)
    out = write_happened(write_out(tmp_path_factory.mktemp("out"), poses), poses)
    browser.get(write_report(out).as_uri())
    end = time.monotonic() + PATIENCE
    while browser.execute_script("return typeof bodyfitReport") == "undefined":
        assert time.monotonic() < end
        time.sleep(0.05)
    return browser


def now(browser) -> float:
    return browser.execute_script("return bodyfitReport.state.time")


def press(browser, selector: str) -> None:
    element = browser.find_element(By.CSS_SELECTOR, selector)
    browser.execute_script("arguments[0].closest('details')?.setAttribute('open', '')", element)
    browser.execute_script("arguments[0].scrollIntoView({block: 'center', behavior: 'instant'})", element)
    element.click()


def test_loads_without_a_complaint(loaded):
    assert [entry for entry in loaded.get_log("browser") if entry["level"] == "SEVERE"] == []
    assert len(loaded.find_elements(By.CSS_SELECTOR, "#happened svg.still")) == 5


def test_a_strides_time_leads_to_it(loaded):
    press(loaded, "#happened details:last-of-type button[data-time]")
    button = loaded.find_element(By.CSS_SELECTOR, "#happened details:last-of-type button[data-time]")
    assert now(loaded) == pytest.approx(float(button.get_attribute("data-time")), abs=1e-6)


def test_the_timeline_marks_the_time_and_leads_to_it(loaded):
    loaded.execute_script("bodyfitReport.goTo(4.5)")
    line = loaded.find_element(By.CSS_SELECTOR, ".timeline svg .now")
    home = loaded.find_element(By.CSS_SELECTOR, ".timeline")
    left, right = (float(home.get_attribute(f"data-{edge}")) for edge in ("left", "right"))
    assert float(line.get_attribute("x1")) == pytest.approx(left + (right - left) / 2, abs=0.5)
    press(loaded, ".timeline svg .bar.unsure")  # the last half second
    assert now(loaded) == pytest.approx(8.25, abs=0.15)


def test_left_and_right_have_their_colours(loaded):
    found = [
        loaded.execute_script(
            f"return getComputedStyle(document.querySelector('#happened .curve.{side}')).stroke"
        )
        for side in ("left", "right")
    ]
    kept = [
        loaded.execute_script(
            f"return getComputedStyle(document.documentElement).getPropertyValue('--{side}').trim()"
        )
        for side in ("left", "right")
    ]
    assert [rgb(text) for text in found] == [tuple(bytes.fromhex(text[1:])) for text in kept]
    filled = "return getComputedStyle(document.querySelector('#happened .band.left')).fill"
    assert rgb(loaded.execute_script(filled)) == tuple(bytes.fromhex(kept[0][1:]))


def rgb(text: str) -> tuple[int, ...]:
    return tuple(int(part) for part in text.removeprefix("rgb(").removesuffix(")").split(","))


@pytest.mark.parametrize("width", [400, 1100])
def test_the_page_is_no_wider_than_the_window(loaded, show_as, width):
    show_as(width, 800)
    assert loaded.execute_script("return document.documentElement.scrollWidth") <= width
