"""Writes the tables of a capture as recorders of different habits do."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np

import bodyfit
from bodyfit.files.capture.writer import WRITTEN
from bodyfit.recording.capture import Capture, Unit

EPOCH = 1_700_000_004  # s, Unix time of the first stamp in dialects with dates
BERN = timezone(timedelta(hours=1))


@dataclass(frozen=True)
class Habit:
    """How a recorder writes a table; `keys` are lines of setup.toml below [units.<name>]."""

    stamp: Callable[[int, float], str] = lambda k, t: f"{t:.9f}"
    time: str = '"t"'
    separator: str = ","
    decimal: str = "."
    before: str = ""
    suffix: str = ".csv"
    keys: str = ""
    apart: bool = False


def _iso(zone: timezone) -> Callable[[int, float], str]:
    return lambda k, t: (
        datetime.fromtimestamp(EPOCH, zone) + timedelta(microseconds=round(t * 1e6))
    ).isoformat(timespec="microseconds")


MS = '{ column = "t", unit = "ms" }'
LINES = "Recorder 7\nSerial; 0815, left\n\n"
HABITS = {
    "milliseconds": Habit(lambda k, t: f"{t * 1e3:.6f}", MS),
    "microseconds": Habit(lambda k, t: str(round(t * 1e6)), '{ column = "t", unit = "us" }'),
    "iso_utc": Habit(_iso(UTC), '{ column = "t", unit = "iso8601" }'),
    "iso_zone": Habit(_iso(BERN), '{ column = "t", unit = "iso8601" }'),
    "epoch_seconds": Habit(lambda k, t: f"{EPOCH + t:.6f}"),
    "epoch_nanoseconds": Habit(
        lambda k, t: str(EPOCH * 10**9 + round(t * 1e9)), '{ column = "t", unit = "ns" }'
    ),
    "sample_numbers": Habit(
        lambda k, t: str(k + 41), '{ column = "t", unit = "samples" }', keys="sampling_frequency = {rate}"
    ),
    "semicolons": Habit(separator=";", suffix=".txt"),
    "tabs": Habit(separator="\t", suffix=".txt"),
    "lines_before_the_header": Habit(before=LINES),
    "sensor_apart": Habit(apart=True),
    "declared": Habit(
        before=LINES, separator=";", decimal=",", keys='separator = ";"\ndecimal = ","\nskip_rows = 3'
    ),
    "decimal_comma_and_semicolons": Habit(separator=";", decimal=",", suffix=".txt"),
    "lines_milliseconds_tabs_comma": Habit(
        lambda k, t: f"{t * 1e3:.6f}", MS, "\t", ",", LINES, ".txt", apart=True
    ),
}


def write_dialect(capture: Capture, folder: Path, habit: Habit, model: str) -> None:
    """A capture's folder in which every table follows the habit."""
    folder.mkdir(parents=True)
    text = f'[body]\nmodel = "{model}"\n'
    for unit in capture.units.values():
        text += f'\n[units.{unit.name}]\nsegment = "{unit.segment}"\n' + _unit(unit, folder, habit)
    (folder / "setup.toml").write_text(text)


def _unit(unit: Unit, folder: Path, habit: Habit) -> str:
    name, rate = f"{unit.name}{habit.suffix}", 1 / np.median(np.diff(unit.time))
    keys = f'table = "{name}"\ntime = {habit.time}\n{habit.keys.format(rate=repr(float(rate)))}\n'
    sensors = {s: getattr(unit, s) for s in unit.sensors}
    for sensor in sensors:
        columns, own = list(WRITTEN[sensor][1]), ""
        word = "arbitrary" if sensor == "magnetometer" else WRITTEN[sensor][0]
        if habit.apart and sensor == "magnetometer":
            own = f'table = "mag {name}", time = {habit.time}, '
            _table(folder / f"mag {name}", unit, {sensor: sensors[sensor]}, habit)
        keys += f'{sensor} = {{ {own}columns = {columns}, unit = "{word}" }}\n'.replace("'", '"')
    there = {s: v for s, v in sensors.items() if not (habit.apart and s == "magnetometer")}
    _table(folder / name, unit, there, habit)
    return keys


def _table(path: Path, unit: Unit, sensors: dict[str, np.ndarray], habit: Habit) -> None:
    names = ["t", *(name for s in sensors for name in WRITTEN[s][1])]
    values = np.concatenate(list(sensors.values()), axis=1)
    rows = [
        [habit.stamp(k, t), *(f"{v:.12g}" for v in row)]
        for k, (t, row) in enumerate(zip(unit.time, values, strict=True))
    ]
    lines = [
        habit.separator.join(c.replace("nan", "").replace(".", habit.decimal) for c in row) for row in rows
    ]
    path.write_text(habit.before + "\n".join([habit.separator.join(names), *lines]) + "\n")


def evenly_stamped(capture: Capture) -> Capture:
    """The capture with stamps that count samples from 0, so that every dialect can hold them."""
    units = {}
    for name, unit in capture.units.items():
        step = round(float(np.median(np.diff(unit.time))), 6)
        units[name] = dataclasses.replace(unit, time=np.arange(len(unit.time)) * step)
    return dataclasses.replace(capture, units=units)


def read_back(capture: Capture, folder: Path, name: str, model: str) -> Capture:
    """The capture, written in a dialect and read."""
    write_dialect(capture, folder / name, HABITS[name], model)
    return bodyfit.read_capture(folder / name)
