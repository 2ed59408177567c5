"""The accessibility checker axe-core, run in a page as it stands in the browser."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

MODULES = Path(sys.prefix) / "node" / "node_modules"  # where .ci/run installs it; else where NODE_PATH says
HARM = ("serious", "critical")
ASK = """
const done = arguments[arguments.length - 1];
axe.run(document).then(
  found => done(found.violations), error => done([{ id: String(error), impact: 'critical', nodes: [] }]));
"""


def source() -> str:
    """The checker itself, as npm installs it."""
    places = [MODULES, *map(Path, filter(None, os.environ.get("NODE_PATH", "").split(os.pathsep)))]
    found = [path for place in places if (path := place / "axe-core" / "axe.min.js").is_file()]
    if not found:
        pytest.skip(f"axe-core is not here: npm install --prefix {MODULES.parent} axe-core")
    return found[0].read_text(encoding="utf-8")


def faults(browser) -> list[str]:
    """Serious and critical faults of the page that is shown, each with the elements that have it."""
    browser.execute_script(source())
    return [
        f"{fault['id']} ({fault['impact']}): {[node['html'][:90] for node in fault['nodes'][:4]]}"
        for fault in browser.execute_async_script(ASK)
        if fault["impact"] in HARM
    ]
