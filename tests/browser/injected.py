"""What somebody else might get into a page, as if escaping had failed, and what may come of it: nothing."""

from __future__ import annotations

from pathlib import Path
from urllib.request import url2pathname

SCRIPTS = (
    "<script>window.broken = 1</script>",
    '<img src="data:," onerror="window.broken = 2" alt="">',
    '<svg onload="window.broken = 3"></svg>',
    '<a id="hostile" href="javascript:window.broken=4">press</a>',
    '<iframe srcdoc="<script>parent.broken = 5</script>"></iframe>',
    '<script src="data:text/javascript,window.broken=6"></script>',
)
STYLES = (
    "<style>h1 { letter-spacing: 7px !important }</style>",
    '<p id="styled" style="letter-spacing: 7px">x</p>',
    "<base href=\"https://example.invalid/\">",
)  # fmt: skip


def with_injected(address: str) -> str:
    """Address of a copy of the page at a file address, with all of these at the start of its body."""
    page = Path(url2pathname(address.removeprefix("file://")))
    head, body = page.read_text(encoding="utf-8").split("<body>", 1)
    copy = page.with_name(f"injected_{page.name}")
    copy.write_text(f"{head}<body>{''.join(SCRIPTS + STYLES)}{body}", encoding="utf-8")
    return copy.as_uri()


def assert_nothing_came_of_it(browser) -> None:
    browser.execute_script("document.getElementById('hostile').click()")
    assert browser.execute_script("return window.broken") is None
    spaced = (
        "return [...document.querySelectorAll('h1, #styled')].map(e => getComputedStyle(e).letterSpacing)"
    )
    assert browser.execute_script(spaced) == ["normal", "normal"]
    assert browser.execute_script("return document.baseURI").startswith("file:")
    browser.get_log("browser")  # full of what was refused; not the next test's
