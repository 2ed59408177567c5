"""The package's sources, each read and parsed once for all tests of a worker that look at the code itself."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[1] / "bodyfit"
SOURCES = {str(p.relative_to(PACKAGE)): p.read_text(encoding="utf-8") for p in sorted(PACKAGE.rglob("*.py"))}


@cache
def trees() -> dict[str, ast.Module]:
    """Path below the package -> its syntax tree."""
    return {path: ast.parse(source) for path, source in SOURCES.items()}


def module_name(path: str) -> str:
    """Dotted name of a module below the package; a package goes by its folder, the whole one by ""."""
    parts = Path(path).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
