"""Sensors that repeat one reading while another sensor of the same unit feels motion."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ...core.findings import Finding
from ...core.intervals import runs
from ...recording.capture import Unit

STUCK_S = 1.0  # s; tried: real sensors repeat a reading for up to 0.09 s, but where the whole device does
LONG_S = 5.0  # s at rest; tried: on real recordings and demos none repeats so long while the other flickers
MOVES = {"accelerometer": 1.0, "gyroscope": 0.2}  # m/s², rad/s: spread far above noise at rest (by reasoning)
MOSTLY = 0.5  # share of stuck samples above which the sensor is left out (by reasoning)
PAIRS = (("accelerometer", "gyroscope"), ("gyroscope", "accelerometer"))


@dataclass(frozen=True, eq=False)
class Stuck:
    """Where one sensor repeats a reading.

    Attributes
    ----------
    unit, sensor : names
    rows : (N,) bool
    start, end : s, the first and the last of these
    longest : s
    dead : whether the reading is zero
    """

    unit: str
    sensor: str
    rows: np.ndarray
    start: float
    end: float
    longest: float
    dead: bool

    @property
    def mostly(self) -> bool:
        """Whether so much is stuck that the sensor is of no use."""
        return float(self.rows.mean()) > MOSTLY


def stuck(unit: Unit) -> tuple[Stuck, ...]:
    """Stuck stretches of a unit's accelerometer and gyroscope, each seen by the other.

    Parameters
    ----------
    unit : samples as recorded

    Returns
    -------
    tuple of Stuck, none where both repeat together: the device held its samples, or lay still
    """
    found = (_of(unit, sensor, other) for sensor, other in PAIRS if {sensor, other} <= unit.sensors)
    return tuple(one for one in found if one is not None)


def _of(unit: Unit, sensor: str, other: str) -> Stuck | None:
    """One sensor against the other."""
    values, seen = getattr(unit, sensor), getattr(unit, other)
    same = (values[1:] == values[:-1]).all(1)
    rows, longest = np.zeros(len(values), bool), 0.0
    for a, b in runs(same):
        lasted = float(unit.time[b] - unit.time[a])
        beside = seen[a : b + 1]
        moved = lasted >= STUCK_S and _moves(beside, MOVES[other])
        if moved or (lasted >= LONG_S and _flickers(beside)):
            rows[a : b + 1], longest = True, max(longest, lasted)
    if not rows.any():
        return None
    time, dead = unit.time[rows], not np.any(values[rows])
    return Stuck(unit.name, sensor, rows, float(time[0]), float(time[-1]), longest, dead)


def _moves(values: np.ndarray, limit: float) -> bool:
    """Whether a sensor's readings spread by more than a limit."""
    known = values[np.isfinite(values).all(1)]
    return len(known) > 2 and float(known.std(0).max()) > limit


def _flickers(values: np.ndarray) -> bool:
    """Whether a sensor's readings change from most samples to the next, as noise makes them."""
    return float((values[1:] != values[:-1]).any(1).mean()) > MOSTLY


def without_stuck(unit: Unit, found: Iterable[Stuck]) -> Unit:
    """The unit without stuck samples, or without the sensor where most are.

    Parameters
    ----------
    unit : as recorded
    found : of any units; those of others are passed over

    Returns
    -------
    Unit
    """
    changed = {}
    for one in found:
        if one.unit == unit.name:
            values = np.where(one.rows[:, None], np.nan, getattr(unit, one.sensor))
            changed[one.sensor] = None if one.mostly else values
    return dataclasses.replace(unit, **changed) if changed else unit


def stuck_findings(found: Sequence[Stuck]) -> tuple[Finding, ...]:
    """What to say about stuck sensors.

    Parameters
    ----------
    found : from `stuck`

    Returns
    -------
    tuple of Finding: "sensor-stuck"
    """
    return tuple(_finding(one) for one in found)


def _finding(one: Stuck) -> Finding:
    """One sensor of one unit."""
    reading = "reads zero" if one.dead else "repeats one reading"
    return Finding(
        "sensor-stuck",
        "serious",
        f"{one.unit} {one.sensor}: {reading} for up to {one.longest:.2f} s, between {one.start:.2f} and "
        f"{one.end:.2f} s, while the unit's {dict(PAIRS)[one.sensor]} feels motion or noise",
        "check the device and the export of these columns; record again if the readings are lost",
        units=(one.unit,),
        start=one.start,
        end=one.end,
        value=one.longest,
        threshold=STUCK_S,
        measure="s",
        source="real sensors repeat a reading for up to 0.09 s while another sensor of the unit moves",
        handled="sensor left out" if one.mostly else "these samples left out",
        harm_deg=90.0,
    )
