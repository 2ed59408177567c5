"""What a capture holds and what is wrong with it, as plain data: what `bodyfit inspect` prints and draws."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from ...core.findings import Finding
from ...core.gravity import STANDARD_GRAVITY
from ...recording.capture import Unit
from ...recording.trials import Trial

BINS = 600  # of a timeline: about one a pixel on a wide screen; by reasoning
Spans = tuple[tuple[float, float], ...]
"""Stretches of time, (start, end) s each."""


@dataclass(frozen=True, eq=False)
class Series:
    """Least and greatest value of a signal in each of N equal bins of time.

    Attributes
    ----------
    start, end : s, of the first and the last bin
    low, high : (N,) values in SI, NaN where a bin holds no sample
    """

    start: float
    end: float
    low: np.ndarray
    high: np.ndarray

    @property
    def time(self) -> np.ndarray:
        """(N,) s, middles of the bins."""
        step = (self.end - self.start) / len(self.low)
        return self.start + step * (np.arange(len(self.low)) + 0.5)


@dataclass(frozen=True)
class Candidate:
    """A segment that a unit may be worn on, with the probability that it is."""

    segment: str
    probability: float


@dataclass(frozen=True, eq=False)
class UnitInspection:
    """What was found out about one unit; None (and no series) where a check did not run.

    Attributes
    ----------
    name, segment, sensors : as in the capture
    frequency : Hz
    gaps, clipped : stretches without samples; stretches at full scale
    clipped_share : of the samples
    clock_offset, clock_offset_sd : s, the unit's clock against the others
    clock_rate : share by which the unit's clock runs fast
    gyroscope_noise, accelerometer_noise : rad/s/√Hz, m/s²/√Hz
    field_trusted : stretches in which the magnetic field counts
    field_trusted_share : of the capture
    mounting_source : where segment_from_unit comes from
    mounting_sd : (3,) rad, its standard deviation about the segment's X, Y, Z
    candidates : segments that it may be worn on, most probable first
    turning, force, magnetic : Series of |ω| rad/s, |f| m/s², |m| (share of its median)
    """

    name: str
    segment: str | None = None
    sensors: tuple[str, ...] = ()
    frequency: float | None = None
    gaps: Spans | None = None
    clipped: Spans | None = None
    clipped_share: float | None = None
    clock_offset: float | None = None
    clock_offset_sd: float | None = None
    clock_rate: float | None = None
    gyroscope_noise: float | None = None
    accelerometer_noise: float | None = None
    field_trusted: Spans | None = None
    field_trusted_share: float | None = None
    mounting_source: str | None = None
    mounting_sd: tuple[float, float, float] | None = None
    candidates: tuple[Candidate, ...] | None = None
    turning: Series | None = None
    force: Series | None = None
    magnetic: Series | None = None

    @property
    def placement(self) -> float | None:
        """Probability of the segment that the capture names, or of the likeliest where it names none."""
        if not self.candidates:
            return None
        by_segment = {c.segment: c.probability for c in self.candidates}
        return by_segment.get(self.segment, 0.0) if self.segment else self.candidates[0].probability


@dataclass(frozen=True, eq=False)
class Inspection:
    """A capture at a glance.

    Attributes
    ----------
    title, source, model : of the capture
    start, end : s of the capture's clock
    gravity : m/s²
    units : in the order of the capture
    findings : most harmful first
    versions : name of a program or library -> its version
    wall_time : s that the checks took
    trials : recordings that the capture is joined from
    start_time : moment of time 0, where it is known
    """

    title: str = ""
    source: str = ""
    model: str = ""
    start: float | None = None
    end: float | None = None
    gravity: float = STANDARD_GRAVITY
    units: tuple[UnitInspection, ...] = ()
    findings: tuple[Finding, ...] = ()
    versions: Mapping[str, str] = field(default_factory=dict)
    wall_time: float | None = None
    trials: tuple[Trial, ...] = ()
    start_time: datetime | None = None

    def as_data(self) -> dict[str, Any]:
        """The inspection as JSON-ready data, SI units, without the timelines."""
        plain = {f.name: getattr(self, f.name) for f in dataclasses.fields(self)}
        plain["units"] = [_unit_data(unit) for unit in self.units]
        plain["findings"] = [finding.as_data() for finding in self.findings]
        trials = [trial.as_data() for trial in self.trials]
        moment = None if self.start_time is None else self.start_time.isoformat()
        return plain | {"versions": dict(self.versions), "trials": trials, "start_time": moment}


def _unit_data(unit: UnitInspection) -> dict[str, Any]:
    drawn = ("turning", "force", "magnetic")
    plain = {f.name: getattr(unit, f.name) for f in dataclasses.fields(unit) if f.name not in drawn}
    plain["candidates"] = unit.candidates and [dataclasses.asdict(c) for c in unit.candidates]
    return plain | {"mounting_sd": unit.mounting_sd and [float(sd) for sd in unit.mounting_sd]}


def timelines(unit: Unit, start: float, end: float, bins: int = BINS) -> dict[str, Series]:
    """Magnitudes of what a unit measured, for `UnitInspection`.

    Parameters
    ----------
    unit : with its samples
    start, end : s, of the capture
    bins : number of bins

    Returns
    -------
    "turning" |ω| rad/s, "force" |f| m/s², "magnetic" |m| as a share of its median -> Series, of the sensors
    that the unit carries
    """
    out = {}
    for name, sensor in (("turning", "gyroscope"), ("force", "accelerometer"), ("magnetic", "magnetometer")):
        samples = getattr(unit, sensor)
        if samples is None:
            continue
        size = np.sqrt(np.einsum("ni,ni->n", samples, samples))
        if name == "magnetic":
            known = size[np.isfinite(size)]
            size = size / (np.median(known) if len(known) and np.median(known) > 0 else 1.0)
        out[name] = binned(unit.time, size, start, end, bins)
    return out


def binned(time: np.ndarray, values: np.ndarray, start: float, end: float, bins: int = BINS) -> Series:
    """Least and greatest value in equal bins of time.

    Parameters
    ----------
    time : (N,) s, not decreasing
    values : (N,), NaN where missing
    start, end : s
    bins : number of bins

    Returns
    -------
    Series
    """
    edges = np.searchsorted(time, np.linspace(start, end, bins + 1))
    edges[-1] = np.searchsorted(time, end, side="right")
    low, high = np.full(bins, np.nan), np.full(bins, np.nan)
    filled = np.flatnonzero(np.diff(edges))
    if len(filled):
        inside, first = values[edges[0] : edges[-1]], edges[:-1][filled] - edges[0]
        low[filled], high[filled] = np.fmin.reduceat(inside, first), np.fmax.reduceat(inside, first)
    return Series(float(start), float(end), low, high)
