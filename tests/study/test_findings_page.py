"""docs/capture_findings.md and findings.md list every kind of finding that the code makes, and no other."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGES = [
    (ROOT / "docs" / f"{name}.md").read_text(encoding="utf-8") for name in ("capture_findings", "findings")
]
PAGE = "\n".join(PAGES)
WORD = r"[a-z]+(?:-[a-z]+)+"


def kinds_in_code() -> set[str]:
    """First arguments of `Finding(...)`, written out or chosen just before."""
    sources = [path.read_text(encoding="utf-8") for path in (ROOT / "bodyfit").rglob("*.py")]
    text = "\n".join(source for source in sources if "Finding(" in source)
    written = re.findall(rf'Finding\(\s*\*?\(?\s*"({WORD})"', text)
    chosen = re.findall(rf'kind = "({WORD})"', text) + re.findall(rf'else "({WORD})"\n', text)
    return {*written, *chosen}


def test_the_page_lists_every_kind():
    listed = set(re.findall(rf"`({WORD})`", PAGE))
    assert kinds_in_code() <= listed, kinds_in_code() - listed


def test_the_page_lists_no_kind_that_is_never_made():
    made = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "bodyfit").rglob("*.py"))
    table = set(re.findall(rf"^\| `({WORD})`", PAGE, flags=re.M))
    assert all(f'"{kind}"' in made for kind in table)
    assert len(table) > 20
