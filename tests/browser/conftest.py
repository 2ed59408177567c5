"""A headless Chromium with the network off, and what tests of pages ask of it."""

from __future__ import annotations

import shutil

import pytest

FLAGS = (
    *("--headless", "--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", "--disable-dev-shm-usage"),
    *("--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"),
    *("--host-resolver-rules=MAP * ~NOTFOUND", "--window-size=1100,800"),
)


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    pytest.importorskip("selenium", reason="selenium is not installed: pip install -e '.[test]'")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    binary, driver_path = shutil.which("chromium"), shutil.which("chromedriver")
    if not (binary and driver_path):
        pytest.skip("no chromium with its driver here: apt-get install chromium chromium-driver")
    options = webdriver.ChromeOptions()
    options.binary_location = binary
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(driver_path))
    offline = {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0}
    driver.execute_cdp_cmd("Network.enable", {})
    driver.execute_cdp_cmd("Network.emulateNetworkConditions", offline)
    yield driver
    driver.quit()


@pytest.fixture(scope="session")
def pages(tmp_path_factory) -> dict[str, str]:
    """Address of each kind of page, by name; made once for all tests."""
    from five_pages import write_pages

    return write_pages(tmp_path_factory.mktemp("pages"))


@pytest.fixture
def show_as(browser):
    """A function that sets the window's size; undone afterwards."""

    def show(width: int, height: int) -> None:
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)

    yield show
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
