"""The docs build as a site, offline and without a warning; its pages ask nothing of the network."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = (
    *(
        "index",
        "capture",
        "models",
        "conventions",
        "method",
        "findings",
        "choosing_sensors",
        "planning",
        "api",
    ),
    *("movement", "handing_over", "reliability", "gallery"),
)
FETCHED = re.compile(r"""<(?:script|link|img|iframe|source)\b[^>]*\b(?:src|href)=["'](?:https?:)?//[^"']+""")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    for package in ("mkdocs", "latex2mathml"):
        pytest.importorskip(package, reason=f"{package} is not installed (it comes with the extra 'docs')")
    out = tmp_path_factory.mktemp("site")
    call = [sys.executable, "-m", "mkdocs", "build", "--strict", "--site-dir", str(out)]
    done = subprocess.run(call, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "WARNING" not in done.stdout + done.stderr
    return out


def test_every_page_is_there(site: Path) -> None:
    assert [name for name in PAGES if not (site / f"{name}.html").is_file()] == []
    assert len(list((site / "gallery").glob("*.png"))) >= 8


def test_pages_fetch_nothing_from_elsewhere(site: Path) -> None:
    for page in site.glob("*.html"):
        assert FETCHED.findall(page.read_text(encoding="utf-8")) == [], page.name


def test_equations_are_drawn_by_the_browser(site: Path) -> None:
    text = (site / "method.html").read_text(encoding="utf-8")
    equations = re.findall(r"<math.*?</math>", text, re.S)
    assert len(equations) > 20
    assert [one for one in equations if "\\" in one] == []  # a word of LaTeX that was not understood
    assert re.findall(r"\$[^$<>\n]{1,60}\$", re.sub(r"<(pre|code)\b.*?</\1>", "", text, flags=re.S)) == []


def test_scripts_and_templates_stay_out(site: Path) -> None:
    assert not list(site.rglob("*.py")) and not list(site.rglob("*.template*"))


def test_a_link_that_leads_nowhere_would_be_seen() -> None:
    text = (ROOT / "mkdocs.yml").read_text(encoding="utf-8")
    assert text.count("not_found: warn") == 2 and "anchors: warn" in text
