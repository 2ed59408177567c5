"""The text of a drafted setup.toml: what tables show, each guess marked, what is open left to fill in."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from ...body.chain import BodyModel
from ...errors import InputError
from ...recording.capture import SENSORS
from ..capture.open_lines import OPEN
from ..capture.sensor_samples import SENSOR_UNITS
from ..capture.table_shelf import TRIAL
from ..model.model_file import model_names, read_model
from ..plain.atomic_file import make_folder, write_text
from ..plain.tables import Table
from ..plain.toml_writer import toml_key, toml_value
from .places import segments_meant
from .sizes import acceleration_unit, field_unit, turning_unit
from .stamps import DraftTime
from .unit_groups import DraftSensor, DraftUnit, draft_units

HEAD = """\
# Drafted from tables by bodyfit new. What follows "guess:" was guessed from names and numbers: read it over.
# "?" must be filled in, with one of the words beside it; bodyfit inspect says what is still open.
"""
TAIL = """
# The wearer, if known: scales the body.
# [person]
# stature_m = 1.72
# mass_kg = 64

# When the wearer stood still in the neutral pose: upright, feet forward, arms hanging, palms forward. Without
# it, how units sit is found from the motion alone, and less surely.
# [[calibration]]
# kind = "still"
# start_s = 0.5
# end_s = 3.0
"""


def draft_setup(folder: Path, tables: Sequence[Path], model: str | None = None) -> Path:
    """The setup.toml now drafted in a folder.

    Parameters
    ----------
    folder : made if missing; tables stay where they are
    tables : files of samples; those of the same name in several folders are trials
    model : name or path of the body model; None: the smallest with the segments that names tell

    Raises
    ------
    InputError
        The folder has a setup.toml, or a table can't be understood at all.
    OutputError
        The folder can't be made or written to.
    """
    path = folder / "setup.toml"
    if path.exists():
        raise InputError(f"{path}: is there already; move it away, or draft in another folder")
    trials = _trials(tables)
    first = [table for table in tables if not trials or table.parent.name == trials[0]]
    units = draft_units(first)
    segments = [segments_meant(unit.words) for unit in units]
    model = model or _model(segments)
    known = read_model(model, folder) if model != OPEN else None
    lines = [HEAD, f"title = {toml_value(folder.resolve().name)}"]
    if trials:
        lines += [f"trials = {toml_value(trials)}  # guess: tables of the same names in several folders"]
    smallest = "guess: the smallest with these segments; others" if model != OPEN else "one of"
    lines += ["", "[body]", f'model = "{model}"  # {smallest}: {", ".join(model_names())}']
    written = _Written(folder, bool(trials), known)
    for unit, meant, words in zip(units, segments, _words(units), strict=True):
        lines += ["", *_unit(unit, meant, words, written)]
    make_folder(folder)
    write_text(path, "\n".join(lines) + "\n" + TAIL)
    return path


def _trials(tables: Sequence[Path]) -> list[str]:
    """Names of the folders, where the same tables stand in several beside each other."""
    folders = list(dict.fromkeys(table.parent for table in tables))
    names = {folder: {t.name for t in tables if t.parent == folder} for folder in folders}
    same = len(folders) > 1 and len({frozenset(n) for n in names.values()}) == 1
    return [f.name for f in folders] if same and len({f.resolve().parent for f in folders}) == 1 else []


def _model(segments: Sequence[Sequence[str]]) -> str:
    """The smallest model with the segments that are plain; open where none is."""
    plain = {meant[0] for meant in segments if len(meant) == 1}
    models = {name: read_model(name) for name in model_names()}
    fits = [name for name, model in models.items() if plain and plain <= set(model.segments)]
    wide = [n for n in fits if len(models[n].segments) >= len(segments)]
    return min(wide, key=lambda n: len(models[n].segments), default=OPEN)


@dataclass(frozen=True)
class _Written:
    """Where the draft goes, whether tables are those of trials, and the body model where it is known."""

    folder: Path
    trials: bool
    model: BodyModel | None

    def path(self, table: Table) -> str:
        """A table's path as setup.toml takes it, in quotes, with forward slashes."""
        inside = table.path.resolve()
        inside = inside.parent.parent / TRIAL / inside.name if self.trials else inside
        return toml_value(Path(os.path.relpath(inside, self.folder.resolve())).as_posix())


def _unit(
    unit: DraftUnit, meant: Sequence[str], words: Mapping[str, tuple[str, str]], to: _Written
) -> Iterator[str]:
    """Lines of one unit's table."""
    main = next(unit.sensors[s] for s in SENSORS if s in unit.sensors)
    yield f"[units.{toml_key(unit.name)}]"
    if len(meant) == 1:
        yield f'segment = "{meant[0]}"  # guess: by its name'
    else:
        allowed = meant or (to.model.segments if to.model else ["a segment of the body model"])
        yield f'segment = "{OPEN}"  # one of: {", ".join(allowed)}; no line at all: found by --assign auto'
    yield f"table = {to.path(main.table)}"
    yield from (line + note for line, note in _time(main.time))
    for sensor in SENSORS:
        if sensor in unit.sensors:
            yield _sensor(sensor, unit.sensors[sensor], words.get(sensor), main, to)
    if unit.left:
        yield f"# not used: {', '.join(name or '(no name)' for name in unit.left)}"


def _time(time: DraftTime) -> list[tuple[str, str]]:
    """Keys that tell the time, and the note behind each."""
    out = []
    if time.column is not None and time.unit == "s":
        out.append((f"time = {toml_value(time.column)}", f"  # guess: seconds, {time.why}"))
    elif time.column is not None:
        keys = toml_value({"column": time.column, "unit": time.unit})
        out.append((f"time = {keys}", f"  # guess: {time.why}"))
    if time.needs_rate:
        rate = toml_value(OPEN if time.rate is None else time.rate)
        note = "samples a second, such as 100.0" if time.rate is None else f"guess: {time.why}"
        out.append((f"sampling_frequency = {rate}", f"  # {note}"))
    return out


def _sensor(
    sensor: str, one: DraftSensor, told: tuple[str, str] | None, main: DraftSensor, to: _Written
) -> str:
    """The line of one sensor; `told` is its unit and why, None of orientations."""
    keys = ["columns = " + toml_value(one.columns)]
    if one.table is not main.table:
        keys = [f"table = {to.path(one.table)}", *(line for line, _ in _time(one.time)), *keys]
    if told is None:
        note = 'guess: world_from_unit, +Y up; if +Z is up, up = "z"'
        return f"{sensor} = {{ {', '.join(keys)} }}  # {note}"
    word, why = told
    keys.append(f'unit = "{word}"')
    note = f"one of: {', '.join(SENSOR_UNITS[sensor])}; {why}" if word == OPEN else f"guess: {why}"
    return f"{sensor} = {{ {', '.join(keys)} }}  # {note}"


def _words(units: Sequence[DraftUnit]) -> list[dict[str, tuple[str, str]]]:
    """By unit: sensor -> its unit, or OPEN, and why. What one unit does not tell, others of one mind do."""
    words = [{s: _unit_word(s, unit) for s in unit.sensors if s != "orientation"} for unit in units]
    for sensor in SENSOR_UNITS:
        told = {of[sensor][0] for of in words if sensor in of} - {OPEN}
        for of in words if len(told) == 1 else ():
            if sensor in of and of[sensor][0] == OPEN:
                of[sensor] = min(told), f"as of the other units; {of[sensor][1]}"
    return words


def _unit_word(sensor: str, unit: DraftUnit) -> tuple[str, str]:
    """Unit of a sensor, or OPEN, and why."""
    one = unit.sensors[sensor]
    if one.unit is not None:
        return one.unit, "unit by the header"
    if sensor == "accelerometer":
        word, why = acceleration_unit(one.values)
    elif sensor == "magnetometer":
        word, why = field_unit(one.values)
    else:
        beside = unit.sensors.get("accelerometer")
        force = beside.values if beside is not None else None
        word, why = turning_unit(one.values, force, one.time.step)
        if (
            word
            and "gravity" not in why
            and beside is not None
            and _unit_word("accelerometer", unit)[0] == OPEN
        ):
            word, why = None, "the accelerometer's numbers are in no unit, so these may be raw counts, too"
    return word or OPEN, why
