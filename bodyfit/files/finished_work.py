"""What a long run has finished, one JSON file a piece of work, so that an interrupted run goes on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from .plain.atomic_file import make_folder, write_text


def read_kept(folder: Path, key: str) -> Any:
    """What was kept under a key, or None: nothing, or nothing that is JSON."""
    try:
        return json.loads(_file(folder, key).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def write_kept(folder: Path, key: str, data: Any) -> None:
    """Keeps plain mappings, lists and numbers as JSON, in their order, whole or not at all.

    Raises
    ------
    OutputError
        The file can't be written.
    """
    write_files(folder, {_file(folder, key).name: json.dumps(data) + "\n"})


def write_files(folder: Path, content: dict[str, str]) -> tuple[Path, ...]:
    """Paths of text files, each now written whole to a folder, which is made if missing.

    Raises
    ------
    OutputError
        The folder can't be made, or a file can't be written.
    """
    make_folder(folder)
    for name, text in content.items():
        write_text(folder / name, text)
    return tuple(folder / name for name in content)


def _file(folder: Path, key: str) -> Path:
    return folder / f"{key}.json"
