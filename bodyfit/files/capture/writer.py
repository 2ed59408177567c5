"""Writes a capture as a folder: one table a worn unit, then setup.toml."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from ...errors import InputError, suggest
from ...recording.capture import GROUNDS, SENSORS, Capture, Unit
from ...recording.trials import Trial
from ..model.model_file import write_model
from ..plain.atomic_file import make_folder, write_text
from ..plain.tables import KINDS, write_table
from ..plain.toml_writer import toml_key, toml_section
from .joined_trials import worn_in
from .table_shelf import TRIAL

WRITTEN = {
    "accelerometer": ("m/s^2", ("accel_x", "accel_y", "accel_z")),
    "gyroscope": ("rad/s", ("gyro_x", "gyro_y", "gyro_z")),
    "magnetometer": ("T", ("mag_x", "mag_y", "mag_z")),
    "orientation": ("", ("qx", "qy", "qz", "qw")),
}


def write_capture(
    capture: Capture,
    folder: str | Path,
    table_kind: str = ".csv.gz",
    model: str | None = None,
    digits: int | None = 9,
) -> None:
    """Write a capture that `read_capture` reads back: setup.toml last, once every table is there.

    Parameters
    ----------
    capture : SI units
    folder : made if missing; files of the same names are replaced
    table_kind : .csv, .csv.gz, .tsv, .tsv.gz or .parquet (every digit)
    model : how setup.toml names the body model; left out, the model is written beside it as body.toml
    digits : significant digits of a text column's largest value; None writes every digit

    Raises
    ------
    OutputError
        The folder or a file cannot be written.
    """
    if table_kind not in KINDS:
        raise InputError(f"write_capture: table_kind: found {table_kind!r}; {suggest(table_kind, KINDS)}")
    folder = Path(folder)
    for trial in capture.trials:
        if Path(trial.name).name != trial.name:
            raise InputError(f"write_capture: trial {trial.name!r}: expected a name that a folder can have")
    make_folder(folder)
    for unit in capture.units.values():
        for path, part in _tables(unit, folder, table_kind, capture.trials):
            write_table(path, _columns(part), digits)
    if model is None:
        write_model(capture.model, folder / "body.toml")
    write_text(folder / "setup.toml", _setup_text(capture, table_kind, model or "body.toml"))


def _tables(
    unit: Unit, folder: Path, table_kind: str, trials: Sequence[Trial]
) -> Iterator[tuple[Path, Unit]]:
    """Where the samples of a unit go: one table, or one in a folder a trial that it was worn in."""
    if not trials:
        yield folder / f"{unit.name}{table_kind}", unit
    for trial in trials:
        if worn_in(unit, trial):
            (folder / trial.name).mkdir(exist_ok=True)
            yield folder / trial.name / f"{unit.name}{table_kind}", unit.between(trial.start, trial.end)


def _columns(unit: Unit) -> dict[str, np.ndarray]:
    columns = {"time_s": unit.time}
    for sensor in SENSORS:
        if sensor in unit.sensors:
            columns |= dict(zip(WRITTEN[sensor][1], getattr(unit, sensor).T, strict=True))
    return columns


def _setup_text(capture: Capture, table_kind: str, model: str) -> str:
    person, place = capture.person, capture.place
    top = {"title": capture.title, "start_time": capture.start_time, "source": capture.source}
    top |= {"ground": capture.ground} if capture.ground != GROUNDS[0] else {}
    parts = [toml_section("", top | {"place": place and dataclasses.asdict(place)})]
    parts += [toml_section("[person]", dataclasses.asdict(person))] if person else []
    parts += [toml_section("[body]", {"model": model})]
    parts += [
        toml_section(f"[units.{toml_key(u.name)}]", _unit_keys(u, table_kind, capture.trials))
        for u in capture.units.values()
    ]
    for one in capture.calibrations:
        keys = {"kind": one.kind, "start_s": one.start, "end_s": one.end, "joint": one.joint}
        keys |= {"pose": one.pose} if one.kind == "still" and one.pose != "neutral" else {}
        parts += [toml_section("[[calibration]]", keys)]
    return "\n".join(parts)


def _unit_keys(unit: Unit, table_kind: str, trials: Sequence[Trial]) -> dict[str, object]:
    return {
        "segment": unit.segment,
        "table": f"{TRIAL}/" * bool(trials) + f"{unit.name}{table_kind}",
        "trials": tuple(trial.name for trial in trials if worn_in(unit, trial)),
        "time": "time_s",
        **{sensor: _sensor_keys(unit, sensor) for sensor in SENSORS if sensor in unit.sensors},
        "mounting": unit.mounting,
        "position_m": unit.position,
    }


def _sensor_keys(unit: Unit, sensor: str) -> dict[str, object]:
    word, columns = WRITTEN[sensor]
    if sensor == "magnetometer" and unit.magnetometer_is_arbitrary:
        word = "arbitrary"
    keys: dict[str, object] = {"columns": columns}
    keys |= {"unit": word} if word else {}
    return keys | ({"full_scale": unit.full_scale[sensor]} if sensor in unit.full_scale else {})
