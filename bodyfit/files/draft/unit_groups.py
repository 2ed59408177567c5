"""Tables taken apart into worn units: whose columns are whose, and which sensor stands in which table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ...errors import InputError
from ..plain.dialect import Dialect, first_lines, found_dialect
from ..plain.tables import Table, read_table
from .column_names import SENSOR_WORDS, ColumnName, column_name, sensor_of_words, words_of
from .sizes import acceleration_unit
from .stamps import DraftTime, draft_time

AXES = {"orientation": "xyzw"}  # of every other sensor: xyz


@dataclass(frozen=True, eq=False)
class DraftSensor:
    """One sensor of one unit.

    Attributes
    ----------
    table, time : where it stands
    columns : x, y, z or x, y, z, w
    unit : that the names tell, or None
    """

    table: Table
    time: DraftTime
    columns: tuple[str, ...]
    unit: str | None

    @property
    def values(self) -> np.ndarray:
        """(N, 3 or 4) numbers as they stand."""
        return np.stack([self.table.numbers(name) for name in self.columns], axis=1)


@dataclass(frozen=True, eq=False)
class DraftUnit:
    """One worn unit: words of its name, its sensors, and columns that were not taken."""

    words: tuple[str, ...]
    sensors: Mapping[str, DraftSensor]
    left: tuple[str, ...]

    @property
    def name(self) -> str:
        """A name that setup.toml takes."""
        return "_".join(self.words) or "unit"


def draft_units(paths: Sequence[Path]) -> list[DraftUnit]:
    """Units in some tables; tables whose names differ only by a sensor's word are of one unit.

    Parameters
    ----------
    paths : of tables of one recording

    Raises
    ------
    InputError
        A table can't be read, or no column of any names an axis of a sensor.
    """
    found: dict[tuple[str, ...], DraftUnit] = {}
    for path in paths:
        for unit in _of_table(path):
            before = found.get(unit.words)
            if before is not None and set(before.sensors) & set(unit.sensors):
                raise InputError(
                    f"{path}: found {', '.join(unit.sensors)} of a unit {unit.name!r} twice; expected one "
                    "table of each sensor and unit: name tables by where the unit is worn, or put those of "
                    "each trial into a folder of their own"
                )
            sensors, left = (before.sensors, before.left) if before else ({}, ())
            found[unit.words] = DraftUnit(unit.words, {**sensors, **unit.sensors}, (*left, *unit.left))
    if not found:
        raise InputError(
            f"{', '.join(p.name for p in paths)}: no column names a sensor and an axis; expected a header "
            "such as time, acc_x, acc_y, acc_z, gyr_x, gyr_y, gyr_z"
        )
    return list(found.values())


def _of_table(path: Path) -> list[DraftUnit]:
    """Units of one table."""
    table = read_table(path)
    time = draft_time(table, _before(path))
    stem = words_of(path.name.split(".")[0])
    groups = _groups(table, sensor_of_words(stem))
    known = [word for words in SENSOR_WORDS.values() for word in words if len(word) > 1]
    plain = tuple(word for word in stem if word not in known)
    used = {name for sensors in groups.values() for columns, _ in sensors.values() for name in columns}
    left = tuple(n for n in table.names if n not in used and n != time.column)
    out = []
    for label, sensors in groups.items():
        words = (
            tuple(label.split("_"))
            if label and len(groups) > 1
            else (*plain, *filter(None, label.split("_")))
        )
        drafts = {s: DraftSensor(table, time, columns, unit) for s, (columns, unit) in sensors.items()}
        out.append(DraftUnit(words, drafts, left if label == next(iter(groups)) else ()))
    return out


def _groups(table: Table, otherwise: str | None) -> dict[str, dict[str, tuple[tuple[str, ...], str | None]]]:
    """Label -> sensor -> its columns and their unit; labels that only part one unit's sensors are joined."""
    parts: dict[tuple[str, str], dict[str, ColumnName]] = {}
    for name in table.names:
        if (one := column_name(name)) is None or one.gravity_free:
            continue
        sensor = one.sensor or otherwise or f"?{one.label}"
        parts.setdefault((one.label if one.sensor else "", sensor), {})[one.axis] = one
    out: dict[str, dict[str, tuple[tuple[str, ...], str | None]]] = {}
    for (label, sensor), axes in parts.items():
        wanted = AXES.get(sensor, "xyz")
        if not set(wanted) <= set(axes):
            continue
        columns = tuple(axes[axis].name for axis in wanted)
        if sensor.startswith("?"):
            if not _reads_gravity(table, columns):
                continue
            sensor = "accelerometer"
        out.setdefault(label, {}).setdefault(sensor, (columns, axes["x"].unit))
    return _joined(out)


def _joined(groups: dict[str, dict]) -> dict[str, dict]:
    """Groups of one sensor each beside others, none twice, are one unit; else each is one of its own."""
    every = [sensor for sensors in groups.values() for sensor in sensors]
    if len(groups) > 1 and len(set(every)) == len(every) and any(len(s) == 1 for s in groups.values()):
        return {"": {sensor: found for sensors in groups.values() for sensor, found in sensors.items()}}
    return groups


def _reads_gravity(table: Table, columns: Sequence[str]) -> bool:
    try:
        values = np.stack([table.numbers(name) for name in columns], axis=1)
    except InputError:
        return False
    return acceleration_unit(values)[0] is not None


def _before(path: Path) -> str:
    """The lines before a text table's header."""
    if path.name.lower().endswith(".parquet"):
        return ""
    lines = first_lines(path)
    return "\n".join(lines[: found_dialect(path, Dialect()).skip_rows or 0])
