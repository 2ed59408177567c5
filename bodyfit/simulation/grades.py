"""Grades: how good units of a kind are, by name."""

from __future__ import annotations

from pathlib import Path

from ..errors import InputError, suggest
from ..files.plain.readable import is_file
from ..files.plain.shipped import shipped_folder
from .settings import SimulationSettings
from .settings_file import read_settings


def grades_folder() -> Path:
    """Folder of the grades that come with bodyfit: inside the installed package, or beside a checkout's."""
    return shipped_folder("grades")


def grade_names() -> list[str]:
    """Names of the grades that come with bodyfit."""
    return sorted(path.stem for path in grades_folder().glob("*.toml"))


def read_grade(name_or_path: str) -> SimulationSettings:
    """How good units are, by name or from a file as for `bodyfit simulate --settings`.

    Raises
    ------
    InputError
        There is no such grade, or its file is wrong.
    """
    if name_or_path in grade_names():
        return read_settings(grades_folder() / f"{name_or_path}.toml")
    if is_file(Path(name_or_path)):
        return read_settings(name_or_path)
    raise InputError(
        f"grade: no {name_or_path!r}, neither a name nor a file; {suggest(name_or_path, grade_names())}"
    )
