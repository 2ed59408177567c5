"""Every finding that the code can make says where its limit comes from, or why it has none."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "bodyfit"


def made() -> list[tuple[str, ast.Call]]:
    """Place and call of every `Finding(…)` in the package."""
    out = []
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Finding":
                out.append((f"{path.relative_to(PACKAGE)}:{node.lineno}", node))
    return out


MADE = dict(made())


def test_findings_are_made_in_many_places():
    assert len(MADE) > 40


@pytest.mark.parametrize("place", MADE)
def test_a_finding_has_a_source(place):
    keys = {key.arg for key in MADE[place].keywords}
    assert "source" in keys or None in keys  # None: **more
