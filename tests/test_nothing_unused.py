"""Nothing stands in the package that nobody uses, by vulture and the names let through in pyproject.toml."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["vulture"]


@cache
def unused() -> list[tuple[str, str]]:
    """Name and place of everything that vulture finds unused, whatever is let through."""
    core = pytest.importorskip(
        "vulture.core", reason="vulture is not installed (it comes with the extra 'dev')"
    )
    looked = core.Vulture()
    looked.scavenge([str(ROOT / path) for path in SETTINGS["paths"]])
    found = looked.get_unused_code(min_confidence=SETTINGS["min_confidence"])
    return [(item.name, f"{item.filename}:{item.first_lineno}") for item in found]


def test_everything_is_used():
    let_through = set(SETTINGS["ignore_names"])
    assert [(name, where) for name, where in unused() if name not in let_through] == []


def test_the_names_let_through_would_be_found():
    found = {name for name, _ in unused()}
    assert [name for name in SETTINGS["ignore_names"] if name not in found] == []
