"""Samples that no worn sensor reads: marks of missing values, and glitches; taken as missing."""

from __future__ import annotations

import dataclasses

import numpy as np

from ...core.findings import Finding
from ...recording.capture import Unit

# m/s² (2000 g, shock sensors aside), rad/s (115 000 °/s), T (a magnet on the sensor): ten times the widest
# ranges of data sheets, from memory
LARGEST = {"accelerometer": 2e4, "gyroscope": 2e3, "magnetometer": 0.1}
"""Sensor -> size that no worn sensor reads, SI."""
FAR = 1e4  # times the median, for magnetometers in arbitrary units (by reasoning)
FEWEST = 4  # samples that must stay; what a cubic takes, by reasoning


def without_impossible(unit: Unit) -> tuple[Unit, tuple[Finding, ...]]:
    """The unit with impossible samples as NaN rows, and what they were.

    Parameters
    ----------
    unit : SI

    Returns
    -------
    unit, findings : of kind "samples-impossible"

    Notes
    -----
    A magnetometer or an accelerometer that reads 0, 0, 0 between other samples has not been read then: a slow
    sensor in the table of a fast one, commonly. Nothing on Earth shields either field or gravity to nothing.
    """
    changed, findings = {}, []
    for sensor in sorted(unit.sensors - {"orientation"}):
        values = getattr(unit, sensor)
        wrong, empty = _beyond(unit, sensor, values), _zero(sensor, values)
        bad = wrong | empty
        if not bad.any() or (np.isfinite(values[:, 0]) & ~bad).sum() < FEWEST:
            continue
        changed[sensor] = np.where(bad[:, None], np.nan, values)
        findings += [
            _finding(unit, sensor, rows, kind) for rows, kind in ((wrong, 0), (empty, 1)) if rows.any()
        ]
    return (dataclasses.replace(unit, **changed) if changed else unit), tuple(findings)


def _beyond(unit: Unit, sensor: str, values: np.ndarray) -> np.ndarray:
    """(N,) bool."""
    largest = np.nanmax(np.abs(values), axis=1, initial=0.0, where=np.isfinite(values))
    if sensor == "magnetometer" and unit.magnetometer_is_arbitrary:
        there = largest > 0
        return largest > FAR * (np.median(largest[there]) if there.any() else np.inf)
    return (largest > LARGEST[sensor]) | np.isinf(values).any(axis=1)


def _zero(sensor: str, values: np.ndarray) -> np.ndarray:
    """(N,) bool: rows of exact zeros, where a zero means that nothing was read."""
    if sensor == "gyroscope":
        return np.zeros(len(values), bool)
    return (values == 0).all(axis=1)


def _finding(unit: Unit, sensor: str, rows: np.ndarray, empty: int) -> Finding:
    first, count = float(unit.time[np.argmax(rows)]), int(rows.sum())
    what = "read 0, 0, 0" if empty else "are beyond what any worn sensor reads"
    return Finding(
        "samples-impossible",
        "note" if empty else "warning",
        f"{unit.name}: {count} of {len(rows)} {sensor} samples {what} (first at {first:.3f} s)",
        "leave cells empty where a sensor was not read"
        if empty
        else "look for marks of missing values, and for glitches of the recorder",
        units=(unit.name,),
        start=first,
        value=float(count),
        measure="samples",
        source="ten times the widest ranges of data sheets (from memory)",
        handled="taken as missing",
        harm_deg=0.0 if empty else 2.0,
    )
