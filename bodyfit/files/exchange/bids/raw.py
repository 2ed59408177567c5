"""The raw part of a BIDS-Motion data set: one tracking system a worn unit, on the stamps that it wrote."""

from __future__ import annotations

from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np

from ....recording.capture import SENSORS, Capture, Unit
from ...capture.bids.words import CHANNEL_TYPES, WRITTEN_UNITS, components, label, recording_words
from ...model.model_file import write_model
from .text_files import write_json, write_tsv

CHANNEL_COLUMNS = ("name", "component", "type", "tracked_point", "units", "placement", "reference_frame")
FRAMES = {
    "unit": {
        "Description": "Axes of the unit's own case, right-handed. The accelerometer measures specific "
        "force: at rest it reads g upward."
    },
    "world": {
        "SpatialAxes": "ASR",
        "RotationRule": "right-hand",
        "Description": "World with +Y up; orientations are world_from_unit, unit quaternions, Hamilton.",
    },
}
LATENCY_TOLD = "Seconds from acq_time, the zero of the recording's clock, which all tracking systems share"
EVENT_COLUMNS = {
    "onset": {"Description": "Start on the recording's clock", "Units": "s"},
    "duration": {"Description": "Length of the stretch", "Units": "s"},
    "trial_type": {
        "Description": "What the wearer did",
        "Levels": {"still": "held still in a known pose", "movement": "one joint moved by itself"},
    },
    "pose": {"Description": "Pose that was held"},
    "joint": {"Description": "Joint that moved"},
}
PERSON_COLUMNS = {
    "sex": {"Description": "Sex of the wearer", "Levels": {"F": "female", "M": "male"}},
    "height": {"Description": "Stature", "Units": "m"},
    "weight": {"Description": "Body mass", "Units": "kg"},
}


def write_raw(root: Path, subject: str, task: str, title: str, capture: Capture, version: str) -> None:
    """Samples, channels, sidecars, calibrations as events, wearer, start, and the body model as source data.

    Parameters
    ----------
    root : of the data set, with its description
    subject, task : labels
    title : of the capture, in words
    capture : the recording
    version : of bodyfit
    """
    folder = root / f"sub-{subject}" / "motion"
    folder.mkdir(parents=True)
    systems: dict[str, str] = {}
    for name in capture.units:
        systems[name] = label(name, systems.values(), "unit")
    for name, unit in capture.units.items():
        stem = f"sub-{subject}_task-{task}_tracksys-{systems[name]}"
        _write_unit(folder, stem, unit, capture, title, version)
    _write_scans(root, subject, task, capture, list(systems.values()))
    _write_person(root, subject, capture)
    if capture.calibrations:
        _write_calibrations(folder / f"sub-{subject}_task-{task}_events", capture)
    source = root / "sourcedata"
    source.mkdir()
    write_model(capture.model, source / "body.toml")


def _write_unit(folder: Path, stem: str, unit: Unit, capture: Capture, title: str, version: str) -> None:
    """One tracking system: samples, channels, sidecar."""
    rows, columns = _channels(unit)
    write_tsv(folder / f"{stem}_motion.tsv", None, columns)
    write_tsv(folder / f"{stem}_channels.tsv", CHANNEL_COLUMNS, list(zip(*rows, strict=True)))
    levels = {frame: told for frame, told in FRAMES.items() if any(frame == row[-1] for row in rows)}
    latency = {"name": {"Description": f"Channel; latency: {LATENCY_TOLD}"}}
    write_json(folder / f"{stem}_channels.json", latency | {"reference_frame": {"Levels": levels}})
    write_json(folder / f"{stem}_motion.json", _sidecar(unit, capture, title, version, rows))


def _channels(unit: Unit) -> tuple[list[tuple[Any, ...]], list[np.ndarray]]:
    """Rows of channels.tsv, and the columns of samples."""
    point = unit.segment or unit.name
    rows: list[tuple[Any, ...]] = [("latency", "n/a", "LATENCY", "n/a", "s", unit.name, "n/a")]
    columns = [unit.time]
    for sensor in SENSORS:
        if sensor not in unit.sensors:
            continue
        word = WRITTEN_UNITS[sensor]
        if sensor == "magnetometer" and unit.magnetometer_is_arbitrary:
            word = "arbitrary"
        frame = "world" if sensor == "orientation" else "unit"
        for part, values in zip(components(sensor), getattr(unit, sensor).T, strict=True):
            name = f"{sensor}_{part}"
            rows.append((name, part, CHANNEL_TYPES[sensor], point, word, unit.name, frame))
            columns.append(values)
    return rows, columns


def _sidecar(
    unit: Unit, capture: Capture, title: str, version: str, rows: list[tuple[Any, ...]]
) -> dict[str, Any]:
    """motion.json: what BIDS asks for, then, under `Bodyfit`, what it has no word for."""
    kept = {
        "unit": unit.name,
        "segment": unit.segment,
        "mounting": None if unit.mounting is None else unit.mounting.tolist(),
        "position_m": None if unit.position is None else unit.position.tolist(),
        "full_scale": dict(unit.full_scale),
        "place": None if capture.place is None else vars(capture.place),
        "lengths_m": {} if capture.person is None else dict(capture.person.lengths_m),
        "source": capture.source,
    }
    words = recording_words(title, unit.name, unit.time, [row[2] for row in rows])
    mine = {key: value for key, value in kept.items() if value}
    return words | {"TrackedPointsCount": 1, "SoftwareVersions": f"bodyfit {version}", "Bodyfit": mine}


def _write_scans(root: Path, subject: str, task: str, capture: Capture, systems: list[str]) -> None:
    """scans.tsv: when the zero of the clock was, where it is known."""
    names = [f"motion/sub-{subject}_task-{task}_tracksys-{system}_motion.tsv" for system in systems]
    start = capture.start_time
    if start is not None and start.tzinfo is not None:
        start = start.astimezone(UTC)
    zone = "Z" if start is not None and start.tzinfo is not None else ""
    moment = "n/a" if start is None else start.strftime("%Y-%m-%dT%H:%M:%S.%f") + zone
    path = root / f"sub-{subject}" / f"sub-{subject}_scans.tsv"
    write_tsv(path, ("filename", "acq_time"), (names, [moment] * len(names)))


def _write_person(root: Path, subject: str, capture: Capture) -> None:
    person = capture.person
    sex = {"female": "F", "male": "M"}.get((person.sex if person else None) or "")
    values = (f"sub-{subject}", sex, person and person.stature_m, person and person.mass_kg)
    write_tsv(root / "participants.tsv", ("participant_id", *PERSON_COLUMNS), [[value] for value in values])
    write_json(root / "participants.json", PERSON_COLUMNS)


def _write_calibrations(stem: Path, capture: Capture) -> None:
    """events.tsv: stretches with a known meaning."""
    known = capture.calibrations
    columns = (
        [one.start for one in known],
        [one.end - one.start for one in known],
        [one.kind for one in known],
        [one.pose if one.kind == "still" else None for one in known],
        [one.joint for one in known],
    )
    write_tsv(stem.with_name(f"{stem.name}.tsv"), list(EVENT_COLUMNS), columns)
    write_json(stem.with_name(f"{stem.name}.json"), EVENT_COLUMNS)
