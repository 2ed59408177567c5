"""Worn units from the channels of a BIDS-Motion tracking system."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from ....body.chain import BodyModel
from ....core.findings import Finding
from ....errors import InputError
from ....recording.capture import SENSORS, Unit
from ...model.model_file import model_names, read_model
from ..sensor_samples import SENSOR_UNITS, UNIT_WORDS
from ..unit_samples import UP_Y_FROM_UP_Z
from .tables import TrackingSystem
from .words import CHANNEL_TYPES, components, segment_of

OWN_FRAME = (
    "unit",
    "local",
    "sensor",
    "n/a",
    "",
)  # frames that leave no doubt about raw samples (from memory)


def units_of(
    system: TrackingSystem, offset: float, model: BodyModel | None
) -> Iterator[tuple[Unit, list[Finding]]]:
    """A unit for each tracked point with inertial channels, and what is to be said about how it was read.

    Parameters
    ----------
    system : samples and channels
    offset : s, added to its times
    model : body whose segments are known; None: those of all that come with bodyfit

    Raises
    ------
    InputError
        A unit of measure is unknown, or nothing tells the time.
    """
    points = dict.fromkeys(row["tracked_point"] for row in system.channels)
    for point in points:
        notes: list[Finding] = []
        name = str((system.sidecar.get("Bodyfit") or {}).get("unit") or point)
        sensors = {
            sensor: values
            for sensor in SENSORS
            if (values := _sensor(system, point, sensor, name, notes)) is not None
        }
        if not sensors:
            continue
        segment = _segment(system, point, name, model, notes)
        kept = system.sidecar.get("Bodyfit") or {}
        arbitrary = any(row["units"] == "arbitrary" for row in _rows(system, point, "magnetometer"))
        time = _time(system) + offset
        yield (
            Unit(
                name,
                segment,
                time,
                **sensors,
                magnetometer_is_arbitrary=arbitrary,
                mounting=_array(kept.get("mounting")),
                position=_array(kept.get("position_m")),
                full_scale=dict(kept.get("full_scale") or {}),
            ),
            notes,
        )


def _array(values: Sequence[float] | None) -> np.ndarray | None:
    return None if values is None else np.array(values, float)


def _rows(system: TrackingSystem, point: str, sensor: str) -> list[Mapping[str, str]]:
    """Channels of one sensor at one tracked point."""
    kind = CHANNEL_TYPES[sensor]
    return [row for row in system.channels if row["tracked_point"] == point and row["type"].upper() == kind]


def _sensor(
    system: TrackingSystem, point: str, sensor: str, unit: str, notes: list[Finding]
) -> np.ndarray | None:
    """(N, 3 or 4) SI samples of a sensor; None where it isn't there, or can't be read."""
    rows = {row["component"]: row for row in _rows(system, point, sensor)}
    wanted = components(sensor)
    if not set(wanted) <= set(rows):
        return None
    at = [list(system.channels).index(rows[part]) for part in wanted]
    values = system.samples[:, at] * _factor(system, sensor, rows[wanted[0]]["units"])
    values[np.isnan(values).any(axis=1)] = np.nan
    frame = rows[wanted[0]].get("reference_frame", "n/a")
    if sensor == "orientation":
        return _y_up(system, values, frame, unit, notes)
    if frame not in OWN_FRAME and not any(note.kind == "bids-reference-frame" for note in notes):
        notes.append(_in_frame(unit, frame))
    return values


def _factor(system: TrackingSystem, sensor: str, word: str) -> float:
    """Factor to SI."""
    if sensor == "orientation":
        return 1.0
    known = SENSOR_UNITS[sensor]
    if (found := UNIT_WORDS.get(word, word)) in known:
        return known[found]
    raise InputError(
        f"{system.path}: channels.tsv: units: found {word!r} for {CHANNEL_TYPES[sensor]}; expected one of "
        f"{', '.join(known)}"
    )


def _in_frame(unit: str, frame: str) -> Finding:
    return Finding(
        "bids-reference-frame",
        "serious",
        f"{unit}: channels.tsv gives its samples in the reference frame {frame!r}, not in the unit's own",
        "if the samples were turned into that frame, export them as the unit measured them; if not, correct "
        "reference_frame in channels.tsv",
        units=(unit,),
        source="BIDS 1.10, Motion, channels.tsv: reference_frame",
        handled="taken as measured along the unit's own axes",
    )


def _y_up(
    system: TrackingSystem, quat: np.ndarray, frame: str, unit: str, notes: list[Finding]
) -> np.ndarray | None:
    """(N, 4) world_from_unit with +Y up; None where the data set doesn't tell which axis is up."""
    axes = str((system.frames.get(frame) or {}).get("SpatialAxes") or "")
    up = axes.find("S")
    if up not in (1, 2):
        notes.append(
            Finding(
                "bids-orientation-unused",
                "note",
                f"{unit}: its orientation is left out, reference frame {frame!r} has no axis Y or Z that "
                "points up (SpatialAxes with S second or third)",
                "describe the frame in channels.json if the orientation is to be used",
                units=(unit,),
                source="BIDS 1.10, Motion, channels.json: SpatialAxes",
            )
        )
        return None
    length = np.linalg.norm(quat, axis=1, keepdims=True)
    quat = quat / np.where(length > 0, length, np.nan)
    there = np.isfinite(quat[:, 0])
    if up == 2:
        quat[there] = (Rotation.from_quat(UP_Y_FROM_UP_Z) * Rotation.from_quat(quat[there])).as_quat()
    return quat


def _time(system: TrackingSystem) -> np.ndarray:
    """(N,) s from the system's start: its latency channel, else its sampling frequency."""
    for k, row in enumerate(system.channels):
        if row["type"].upper() == "LATENCY":
            return system.samples[:, k]
    for key in ("SamplingFrequencyEffective", "SamplingFrequency"):
        rate = system.sidecar.get(key)
        if isinstance(rate, int | float) and rate > 0:
            return np.arange(len(system.samples)) / rate
    raise InputError(
        f"{system.path}: neither a LATENCY channel nor SamplingFrequency in its motion.json; expected one"
    )


def _segment(
    system: TrackingSystem, point: str, unit: str, model: BodyModel | None, notes: list[Finding]
) -> str | None:
    """The segment of a tracked point; told where it had to be understood."""
    kept = system.sidecar.get("Bodyfit")
    if kept is not None:
        return kept.get("segment")
    models = [model] if model is not None else [read_model(name) for name in model_names()]
    segment = segment_of(point, {name for one in models for name in one.segments})
    if segment != point:
        said = f"taken as worn on {segment}" if segment else "its segment is not known"
        advice = "call it by the segment's name, or fit with assign auto"
        notes.append(
            Finding(
                "bids-tracked-point",
                "note",
                f"{unit}: tracked point {point!r}: {said}",
                advice,
                (unit,),
                source="BIDS 1.10, Motion, channels.tsv: tracked_point, a free text",
            )
        )
    return segment
