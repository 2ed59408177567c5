"""A table of activities: a TOML file in models/activities, made by docs/train_activities.py."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from ...errors import InputError, suggest
from ..plain.shipped import shipped_folder
from ..plain.toml_reader import TomlTable, read_toml

FOLDER = "activities"
TOP = ("title", "source", "licence", "place", "activities", "features", "table", "wearer")
NUMBERS = ("centre", "scale", "weights", "offsets", "prior", "means", "precision", "usual_distance")


def activity_table_places() -> list[str]:
    """Places on the body for which a table comes with bodyfit."""
    return sorted(path.stem for path in (shipped_folder("models") / FOLDER).glob("*.toml"))


def read_activity_numbers(table: str | Path) -> dict[str, Any]:
    """What a table of activities holds, checked, as plain values and arrays.

    Parameters
    ----------
    table : a place, one of `activity_table_places()`, or the path of a file

    Returns
    -------
    keys of `TOP`; "table" and each of "wearer" with arrays

    Raises
    ------
    InputError
        There is no such table, or a key or a size is wrong.
    """
    path = Path(table)
    if path.suffix != ".toml":
        if str(table) not in activity_table_places():
            raise InputError(f"table: found {str(table)!r}, {suggest(str(table), activity_table_places())}")
        path = shipped_folder("models") / FOLDER / f"{table}.toml"
    toml = read_toml(path)
    toml.only(TOP)
    for key in TOP:
        if key not in toml:
            toml.missing(key, "every table of activities has it")
    held: dict[str, Any] = {key: toml.values[key] for key in TOP}
    F, K = len(held["features"]), len(held["activities"])
    sizes = ((F,), (F,), (F, K), (K,), (K,), (K, F), (F, F), (K,))
    numbers = TomlTable(held["table"], path, "table")
    held["table"] = {k: _array(numbers, k, size) for k, size in zip(NUMBERS, sizes, strict=True)}
    held["wearer"] = [_wearer(TomlTable(one, path, "wearer")) for one in held["wearer"]]
    return held


def _wearer(toml: TomlTable) -> dict[str, Any]:
    K, D = len(toml.values["activities"]), len(toml.values["features"])
    arrays = {key: _array(toml, key, (K, D, D)) for key in ("within", "own")}
    return {
        "activities": tuple(toml.values["activities"]),
        "features": tuple(toml.values["features"]),
        "mean": _array(toml, "mean", (K, D)),
        "common": _array(toml, "common", (D, D)),
        **arrays,
    }


def _array(toml: TomlTable, key: str, size: tuple[int, ...]) -> np.ndarray:
    """Numbers of that size; a single matrix may stand for one an activity."""
    if key not in toml:
        toml.missing(key, f"numbers of size {size}")
    try:
        found = np.array(toml.values[key], float)
        if len(size) == 3 and found.ndim == 3 and len(found) == 1:
            found = np.repeat(found, size[0], axis=0)
    except (TypeError, ValueError):
        toml.refuse(key, "not numbers in even rows; make the table again with docs/train_activities.py")
    if found.shape != size or not np.isfinite(found).all():
        toml.refuse(key, f"found size {found.shape}, expected {size}, all finite")
    return found
