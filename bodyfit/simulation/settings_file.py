"""Settings of a simulation as TOML: the names of `SimulationSettings`, with a unit at the end where handy."""

from __future__ import annotations

import math
from dataclasses import fields
from pathlib import Path
from typing import Any

from ..core.gravity import STANDARD_GRAVITY
from ..errors import InputError
from ..files.plain.toml_reader import TomlTable, read_toml
from .room_field import Dipole, MagneticField
from .settings import SimulationSettings

# by definition of the units
ENDINGS = {"_deg": math.radians(1.0), "_uT": 1e-6, "_g": STANDARD_GRAVITY, "_ppm": 1e-6, "_ms": 1e-3}
SWITCHES = ("soft_tissue_sags", "state_mounting", "state_position")
NUMBERS = tuple(f.name for f in fields(SimulationSettings) if f.name not in (*SWITCHES, "field"))
NAMES = (*NUMBERS, *SWITCHES, "field")


def read_settings(path: str | Path) -> SimulationSettings:
    """Settings in a TOML file; what it leaves out keeps its default.

    Parameters
    ----------
    path : keys are the attributes of `SimulationSettings` in SI units; a key may end in `_deg` (also for
        °/s and the like), `_uT`, `_g`, `_ppm` or `_ms` and is then in that unit. `[field]` takes `norm`,
        `dip`, `north` and `[[field.dipoles]]` with `position` (m) and `moment` (A m²). `motion_cutoff = 0`
        turns the low-pass off.

    Returns
    -------
    settings : SI

    Raises
    ------
    InputError
        A key is not known or given twice, or a value is wrong.
    """
    table = read_toml(Path(path))
    given: dict[str, Any] = _numbers(table, NAMES)
    given |= {name: _switch(table, name) for name in SWITCHES if name in table}
    if (field := table.table("field")) is not None:
        given["field"] = _field(field)
    try:
        return SimulationSettings(**given)
    except InputError as error:
        raise InputError(f"{table.file}: {error}") from None


def _numbers(table: TomlTable, names: tuple[str, ...]) -> dict[str, Any]:
    """Field name -> SI value of all plain numbers in a table."""
    numbers: dict[str, Any] = {}
    for key in table.values:
        name, factor = _meaning(key, names)
        if name not in names:
            table.only(names)
        if name in numbers:
            table.refuse(key, f"{name} stands in this table twice; keep one of the two")
        if not isinstance(table.values[key], bool | dict | list):
            numbers[name] = factor * (table.number(key) or 0.0)
    return numbers


def _meaning(key: str, names: tuple[str, ...]) -> tuple[str, float]:
    """Name of the setting and factor to SI."""
    for ending, factor in ENDINGS.items():
        if key not in names and key.endswith(ending):
            return key.removesuffix(ending), factor
    return key, 1.0


def _switch(table: TomlTable, name: str) -> bool:
    value = table.values[name]
    return value if isinstance(value, bool) else table.mismatch(name, "true or false")


def _field(table: TomlTable) -> MagneticField:
    numbers = _numbers(table, ("norm", "dip", "north", "dipoles"))
    return MagneticField(**numbers, dipoles=tuple(_dipole(t) for t in table.list_of_tables("dipoles")))


def _dipole(table: TomlTable) -> Dipole:
    table.only(("position", "moment"))
    position, moment = table.numbers("position", 3, "m, world"), table.numbers("moment", 3, "A m²")
    if position is None or moment is None:
        table.missing("position" if position is None else "moment", "a list of 3 numbers")
    return Dipole(tuple(position.tolist()), tuple(moment.tolist()))  # type: ignore[arg-type]
