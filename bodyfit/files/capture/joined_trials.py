"""Units of a capture, each from one table or from one a trial, laid on one time line."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from ...core.findings import Finding
from ...recording.capture import SENSORS, Unit
from ...recording.trials import Trial, start_after
from ..plain.toml_reader import TomlTable
from .amount import MOST_UNITS, check_amount
from .table_shelf import TRIAL, TableShelf
from .time_stamps import on_one_clock
from .unit_samples import read_unit


@dataclass(frozen=True, eq=False)
class ReadUnits:
    """Units as they were read.

    Attributes
    ----------
    units : name -> Unit, on the capture's clock
    start_time : moment that this clock counts from, where stamps are dates
    notes : what was repaired
    trials : that were joined; empty: one recording
    shift : trial -> s, added to what its tables count
    sha256 : name of each table -> its checksum
    """

    units: dict[str, Unit]
    start_time: datetime | None
    notes: tuple[Finding, ...]
    trials: tuple[Trial, ...] = ()
    shift: Mapping[str, float] = field(default_factory=dict)
    sha256: Mapping[str, str] = field(default_factory=dict)


def read_units(setup: TomlTable) -> ReadUnits:
    """Every unit in setup.toml.

    Parameters
    ----------
    setup : the whole file

    Raises
    ------
    InputError
        There is no unit, a table is wrong, or `trials` does not fit the names of tables.

    Notes
    -----
    The first trial keeps its stamps (dates count from its first). Each later one begins at a whole second, at
    least `PAUSE_S` after the end of the one before, whatever its stamps say. A unit without a table in some
    trial holds nothing there.
    """
    tables, shelf = setup.tables("units"), TableShelf(setup.file.parent)
    if not tables:
        setup.missing("units", "a table [units.<name>] for each worn unit")
    if len(tables) > MOST_UNITS:
        setup.refuse("units", f"found {len(tables)} units; expected at most {MOST_UNITS}")
    asked = {name: _asked(setup, table) for name, table in tables.items()}
    trials = list(dict.fromkeys(trial for names in asked.values() for trial in names))
    if trials:
        if idle := next((name for name, names in asked.items() if not names), None):
            tables[idle].missing("trials", f"names of trials, as other units have: {', '.join(trials)}")
        return _joined(setup, tables, asked, trials, shelf)
    units = _read(tables, shelf)
    check_amount(setup.file, units, shelf.bytes_on_disk)
    units, start = on_one_clock(setup, units, shelf.starts)
    return ReadUnits(units, start, tuple(shelf.notes), sha256=shelf.sha256)


def _read(tables: Mapping[str, TomlTable], shelf: TableShelf) -> dict[str, Unit]:
    """Units from their tables, each table let go of once no later unit asks for it."""
    asked = {name: _tables_of(table) for name, table in tables.items()}
    out = {}
    for name, table in tables.items():
        out[name] = read_unit(name, table, shelf)
        del asked[name]
        shelf.keep({table for later in asked.values() for table in later})
    return out


def _tables_of(unit: TomlTable) -> set[str]:
    """Names of the tables that a unit's samples are read from."""
    keys = [unit.values, *(unit.values.get(sensor) for sensor in SENSORS)]
    return {str(of["table"]) for of in keys if isinstance(of, Mapping) and "table" in of}


def _asked(setup: TomlTable, unit: TomlTable) -> list[str]:
    """Trials of one unit: its own, else those of the whole capture."""
    keys = unit if "trials" in unit else setup
    names = keys.values.get("trials", [])
    if not isinstance(names, list) or not all(isinstance(n, str) and n.strip() for n in names):
        keys.mismatch("trials", 'a list of names in quotes, as in ["walk_1", "walk_2"]')
    if len(set(names)) < len(names):
        keys.mismatch("trials", "different names")
    if names and TRIAL not in (unit.text("table") or ""):
        unit.refuse(
            "table",
            f"found {unit.text('table')!r}, which is the same in every trial; expected {TRIAL} in it, as in "
            f'"{TRIAL}/left shank.txt", or no trials',
        )
    return names


def _joined(
    setup: TomlTable,
    tables: Mapping[str, TomlTable],
    asked: Mapping[str, Sequence[str]],
    names: Sequence[str],
    shelf: TableShelf,
) -> ReadUnits:
    """Trials read one by one and laid one after the other."""
    trials: list[Trial] = []
    shift: dict[str, float] = {}
    parts: list[dict[str, Unit]] = []
    for name in names:
        own = shelf.of_trial(name)
        read = _read({n: table for n, table in tables.items() if name in asked[n]}, own)
        check_amount(setup.file, read, own.bytes_on_disk)
        read, moment = on_one_clock(setup, read, own.starts)
        first = min(float(unit.time[0]) for unit in read.values())
        last = max(float(unit.time[-1]) for unit in read.values())
        start = start_after(trials[-1].end) if trials else first
        shift[name] = by = start - first
        trials.append(Trial(name, start, last + by, moment))
        parts.append({n: dataclasses.replace(unit, time=unit.time + by) for n, unit in read.items()})
        shelf.notes += [_later(note, by) for note in own.notes]
    units = {n: _one_unit([part.get(n) for part in parts], trials) for n in tables}
    return ReadUnits(units, trials[0].start_time, tuple(shelf.notes), tuple(trials), shift, shelf.sha256)


def _later(note: Finding, by: float) -> Finding:
    """A finding of a trial on the capture's clock."""
    moved = {key: at + by for key in ("start", "end") if (at := getattr(note, key)) is not None}
    return dataclasses.replace(note, **moved)


def worn_in(unit: Unit, trial: Trial) -> bool:
    """Whether a unit has a value of any sensor in a trial."""
    part = unit.between(trial.start, trial.end)
    return any(np.isfinite(getattr(part, sensor)).all(-1).any() for sensor in part.sensors)


def _one_unit(parts: Sequence[Unit | None], trials: Sequence[Trial]) -> Unit:
    """One unit of all trials; where it was not worn, two rows without values hold the trial's ends."""
    known = next(part for part in parts if part is not None)
    time = [
        np.array([trial.start, trial.end]) if part is None else part.time
        for part, trial in zip(parts, trials, strict=True)
    ]
    arrays = {}
    for sensor in known.sensors:
        width = getattr(known, sensor).shape[1]
        arrays[sensor] = np.concatenate(
            [np.full((2, width), np.nan) if part is None else getattr(part, sensor) for part in parts]
        )
    return dataclasses.replace(known, time=np.concatenate(time), **arrays)
