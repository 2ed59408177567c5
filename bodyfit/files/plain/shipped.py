"""Folders that come with bodyfit: body models and grades of units."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path


def shipped_folder(name: str) -> Path:
    """Folder of that name inside the installed package, or beside a checkout's."""
    package = Path(str(files("bodyfit")))
    return package / name if (package / name).is_dir() else package.parent / name
