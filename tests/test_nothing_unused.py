"""Nothing stands in the package that nobody uses, by vulture and the names let through in pyproject.toml."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["vulture"]


def unused(*options: str) -> list[str]:
    """Names that vulture finds unused, one line each."""
    pytest.importorskip("vulture", reason="vulture is not installed (it comes with the extra 'dev')")
    call = [sys.executable, "-m", "vulture", *options]
    return subprocess.run(call, cwd=ROOT, capture_output=True, text=True, check=False).stdout.splitlines()


def test_everything_is_used():
    assert unused() == []


def test_the_names_let_through_would_be_found():
    found = "\n".join(unused(*SETTINGS["paths"], "--ignore-names", "none"))
    assert [name for name in SETTINGS["ignore_names"] if f"'{name}'" not in found] == []
