"""A BIDS-Motion recording read as a capture: worn units from its accelerometer and gyroscope channels."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from ....body.chain import BodyModel
from ....body.person import Person
from ....core.findings import Finding
from ....errors import InputError
from ....recording.capture import Calibration, Capture, Place, Unit
from ...model.model_file import model_names, read_model
from .tables import MISSING, TrackingSystem, dataset_of, read_rows, read_system, recording_files
from .units import units_of

SOURCE_MODEL = Path("sourcedata") / "body.toml"  # where bodyfit's own data sets keep the body model
STATURES_M = (0.4, 2.8)  # by reasoning: what a person's stature can be, as in setup.toml


def read_bids(path: str | Path) -> Capture:
    """The recording in a BIDS-Motion data set.

    Parameters
    ----------
    path : data set, subject, session, or one _motion.tsv; one recording, all its tracking systems

    Returns
    -------
    capture : SI units, world +Y up. A data set by bodyfit comes back as it was written; of others, `notes`
        tell how tracked points were understood. The body is that of the data set's sourcedata/body.toml,
        else the smallest that bodyfit has with all segments worn on

    Raises
    ------
    InputError
        There is no inertial recording, or several, or a file is damaged.
    """
    path = Path(path)
    systems = [read_system(one) for one in recording_files(path)]
    root = dataset_of(path) or path
    zero = min((system.start for system in systems if system.start), default=None, key=_naive)
    own = root / SOURCE_MODEL
    model = read_model(str(own)) if own.is_file() else None
    units: dict[str, Unit] = {}
    notes: list[Finding] = []
    for system in systems:
        for unit, found in units_of(system, _offset(system, zero), model):
            notes += found
            units[unit.name if unit.name not in units else f"{unit.name}_{system.label}"] = unit
    if not units:
        raise InputError(
            f"{path}: no tracking system with ACCEL and GYRO channels, or quaternions of type ORNT; expected "
            "a recording of inertial units"
        )
    units = {name: dataclasses.replace(unit, name=name) for name, unit in units.items()}
    kept = systems[0].sidecar.get("Bodyfit") or {}
    return Capture(
        units=units,
        model=model or _model_with([unit.segment for unit in units.values() if unit.segment]),
        title=str(systems[0].sidecar.get("TaskName") or ""),
        person=_person(root, systems[0].path, kept),
        place=Place(**kept["place"]) if kept.get("place") else None,
        start_time=zero,
        calibrations=tuple(_calibrations(systems[0].path)),
        source=str(kept.get("source") or ""),
        notes=tuple(notes),
    )


def _naive(moment: datetime) -> datetime:
    return moment.replace(tzinfo=None)


def _offset(system: TrackingSystem, zero: datetime | None) -> float:
    """Seconds from the first start of all systems to this one's."""
    if zero is None or system.start is None:
        return 0.0
    return (_naive(system.start) - _naive(zero)).total_seconds()


def _model_with(segments: Sequence[str]) -> BodyModel:
    """The model with the fewest segments among those that have all of these."""
    models = [read_model(name) for name in model_names()]
    return min((one for one in models if set(segments) <= set(one.segments)), key=lambda m: len(m.segments))


def _person(root: Path, path: Path, kept: Mapping[str, Any]) -> Person | None:
    """The wearer, from participants.tsv; height in m or cm, whichever a person can be."""
    table = root / "participants.tsv"
    subject = path.name.split("_")[0]
    row = (
        next((r for r in read_rows(table) if r.get("participant_id") == subject), {})
        if table.is_file()
        else {}
    )
    stature, mass = (_number(row.get(key)) for key in ("height", "weight"))
    if stature is not None and not STATURES_M[0] <= stature <= STATURES_M[1]:
        stature = stature / 100 if STATURES_M[0] <= stature / 100 <= STATURES_M[1] else None
    sex = {"f": "female", "m": "male"}.get(str(row.get("sex", "")).strip().lower()[:1])
    lengths = dict(kept.get("lengths_m") or {})
    return Person(stature, mass, sex, lengths) if stature or mass or sex or lengths else None


def _number(text: str | None) -> float | None:
    try:
        return None if text is None or text in MISSING else float(text)
    except ValueError:
        return None


def _calibrations(path: Path) -> Iterator[Calibration]:
    """Stretches of known meaning, from an events.tsv that bodyfit wrote."""
    stem = path.name[: path.name.find("_tracksys-")]
    table = path.parent / f"{stem}_events.tsv"
    for row in read_rows(table, ("onset", "duration")) if table.is_file() else ():
        kind, start, length = row.get("trial_type"), _number(row["onset"]), _number(row["duration"])
        if kind not in ("still", "movement") or "pose" not in row or start is None or not length:
            continue
        joint = row.get("joint", "n/a")
        yield Calibration(
            kind,
            start,
            start + length,
            row["pose"] if row["pose"] not in MISSING else "neutral",
            None if joint in MISSING else joint,
        )
