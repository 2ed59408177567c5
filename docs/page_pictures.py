"""Pictures of pages at two widths, to be looked at: `python docs/page_pictures.py PAGE.html… --out FOLDER`.

Needs Chromium with its driver, and selenium ('bodyfit[test]'). Prints where anything reaches past the window.
"""

from __future__ import annotations

import argparse
import base64
import shutil
import time
from pathlib import Path

WIDTHS = (1400, 390)  # px: a desk and a phone
SETTLED_S = 1.5  # until figures are drawn
TALLEST = 12000  # px of one picture

BEYOND = """
const wide = document.documentElement.clientWidth;
return [...document.querySelectorAll('body *')].filter(element => {
  const box = element.getBoundingClientRect();
  return box.width && box.right > wide + 1 && !element.closest('.wide, .skip, svg');
}).slice(0, 5).map(element => element.outerHTML.slice(0, 120));
"""


def main() -> None:
    """Opens each page at each width and writes a picture of all of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pages", nargs="+", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    driver = browser()
    try:
        for page in given.pages:
            for width in WIDTHS:
                picture(driver, page, width, given.out / f"{page.parent.name}_{page.stem}_{width}.png")
    finally:
        driver.quit()


def browser():
    """Headless Chromium with 3-D drawn in software."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    for flag in (
        *("--headless", "--no-sandbox", "--disable-dev-shm-usage", "--hide-scrollbars"),
        *("--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"),
    ):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))


def picture(driver, page: Path, width: int, to: Path) -> None:
    """One page at one width."""
    metrics = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    driver.get(page.resolve().as_uri())
    time.sleep(SETTLED_S)
    height = min(driver.execute_script("return document.documentElement.scrollHeight"), TALLEST)
    clip = {"x": 0, "y": 0, "width": width, "height": height, "scale": 1}
    asked = {"captureBeyondViewport": True, "clip": clip}
    shot = driver.execute_cdp_cmd("Page.captureScreenshot", asked)
    to.write_bytes(base64.b64decode(shot["data"]))
    print(to, f"{height} px")
    for line in [*driver.execute_script(BEYOND), *(entry["message"] for entry in driver.get_log("browser"))]:
        print("   ", line)


if __name__ == "__main__":
    main()
