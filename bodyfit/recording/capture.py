"""A capture in memory: worn units with their samples, who wore them, and which body they sit on."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from ..body.chain import BodyModel
from ..body.person import Person
from ..core.arrays.scratch import kept_together, let_go
from ..core.arrays.unit_arrays import unit_arrays
from ..core.cards import NONE, Card, Shown, counted
from ..core.findings import Finding
from ..core.gravity import STANDARD_GRAVITY, normal_gravity
from ..errors import InputError
from . import trials as of_trials
from .stamp_rate import usual_step
from .trials import Trial

SHORT = {"accelerometer": "acc", "gyroscope": "gyro", "magnetometer": "mag", "orientation": "fused"}
SENSORS = ("accelerometer", "gyroscope", "magnetometer", "orientation")
LEAST_SEEN_S = 0.25  # s of a declared stretch that must have been recorded: two keyframes; by reasoning


GROUNDS = ("floor", "treadmill")  # what the wearer walked on, by definition


@dataclass(frozen=True)
class Place:
    """Where the capture was made: decides local gravity and the Earth's field."""

    latitude_deg: float
    longitude_deg: float
    height_m: float = 0.0


@dataclass(frozen=True)
class Calibration:
    """A stretch of time with a known meaning, `start` and `end` in seconds of the capture's clock.

    Attributes
    ----------
    kind : "still", held still in a pose of the model; "movement", one joint moved by itself through its range
    start, end : s
    pose : "still": name of the pose, one of `BodyModel.poses`; "neutral" is what every model has
    joint : "movement": name of the joint
    """

    kind: str
    start: float
    end: float
    pose: str = "neutral"
    joint: str | None = None

    def seen_within(self, first: float, last: float) -> bool:
        """Whether enough of it lies in first ≤ time ≤ last (s) to tell anything."""
        return min(self.end, last) - max(self.start, first) >= min(LEAST_SEEN_S, self.end - self.start)


@dataclass(frozen=True, eq=False, repr=False)
class Unit(Shown):
    """One worn device: its samples on its own time stamps, SI units, unit frame.

    Attributes
    ----------
    name : as in setup.toml
    segment : name of the segment that it is worn on, or None when not said
    time : (N,) s, strictly increasing
    accelerometer : (N, 3) m/s², specific force (reads g upward at rest), or None
    gyroscope : (N, 3) rad/s, or None
    magnetometer : (N, 3) T, or in arbitrary units when `magnetometer_is_arbitrary`, or None
    orientation : (N, 4) unit quaternion xyzw, world_from_unit with +Y up, or None
    mounting : (4,) unit quaternion xyzw, segment_from_unit, or None when unknown
    position : (3,) m, unit origin in the segment frame, or None when unknown
    full_scale : sensor name -> the largest value it can read, SI; only where declared

    Samples that are missing are NaN rows. Those of a long recording are copied to the disk, see
    `core.arrays.scratch`.

    Raises
    ------
    InputError
        An array has another shape, holds no numbers, or a time is not finite.
    """

    name: str
    segment: str | None
    time: np.ndarray
    accelerometer: np.ndarray | None = None
    gyroscope: np.ndarray | None = None
    magnetometer: np.ndarray | None = None
    magnetometer_is_arbitrary: bool = False
    orientation: np.ndarray | None = None
    mounting: np.ndarray | None = None
    position: np.ndarray | None = None
    full_scale: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        keys = ("time", *SENSORS, "mounting", "position")
        arrays = unit_arrays(self.name, {key: getattr(self, key) for key in keys})
        there = {key: values for key, values in arrays.items() if values is not None}
        for key, values in (arrays | kept_together(there)).items():
            object.__setattr__(self, key, values)

    @property
    def sensors(self) -> frozenset[str]:
        """Names of the sensors that this unit carries."""
        return frozenset(name for name in SENSORS if getattr(self, name) is not None)

    def let_go(self) -> None:
        """Takes samples that are on the disk out of memory until they are next read."""
        let_go(self.time, *(getattr(self, name) for name in SENSORS))

    def between(self, start: float, end: float) -> Unit:
        """The same unit with only the samples in start ≤ time ≤ end (s)."""
        keep = (self.time >= start) & (self.time <= end)
        cut = {name: getattr(self, name)[keep] for name in self.sensors}
        return dataclasses.replace(self, time=self.time[keep], **cut)

    def only(self, sensors: frozenset[str]) -> Unit:
        """The same unit without the sensors that are not named."""
        return dataclasses.replace(self, **{name: None for name in self.sensors - sensors})

    def _card(self) -> Card:
        worn, sensors, *samples, mounting = self._row()[1:]
        facts = (
            f"sensors {sensors}",
            " ".join((samples[0], "samples at", samples[1], "Hz,", samples[2], "s")),
        )
        return Card(f"Unit {self.name} on {worn}", (*facts, f"mounting {mounting}"))

    def _row(self) -> tuple[str, ...]:
        """Name, segment, sensors, number of samples, rate, time and mounting: cells of a table."""
        count = len(self.time)
        steady = count > 1 and bool((np.diff(self.time) > 0).all())
        rate = f"{1 / usual_step(self.time):.1f}" if steady else NONE
        span = f"{self.time[0]:.2f}–{self.time[-1]:.2f}" if count else NONE
        sensors = ", ".join(SHORT[name] for name in SENSORS if name in self.sensors)
        mounting = "not given" if self.mounting is None else "given"
        return self.name, self.segment or NONE, sensors or NONE, str(count), rate, span, mounting


@dataclass(frozen=True)
class CaptureFiles:
    """The files that a capture was read from.

    Attributes
    ----------
    folder : as it was given
    sha256 : name of each file within it -> SHA-256 of its bytes, in hexadecimal digits
    """

    folder: str
    sha256: Mapping[str, str]


@dataclass(frozen=True, eq=False, repr=False)
class Capture(Shown):
    """Worn units, the person, the body model, and the intervals with a known meaning.

    Attributes
    ----------
    units : name -> Unit
    model : body that they are worn on
    title, source : what it is, where it comes from
    person, place, start_time : as far as known
    calibrations : intervals with a known meaning
    notes : what a reader repaired on the way in
    trials : recordings that it is joined from, in the order of time; empty: it is one
    ground : "floor", or "treadmill": its belt moves, which units can't tell
    files : that all of it was read from; None: from none, or it is only part of them
    """

    units: Mapping[str, Unit]
    model: BodyModel
    title: str = ""
    person: Person | None = None
    place: Place | None = None
    start_time: datetime | None = None
    calibrations: tuple[Calibration, ...] = ()
    source: str = ""
    notes: tuple[Finding, ...] = ()
    trials: tuple[Trial, ...] = ()
    ground: str = GROUNDS[0]
    files: CaptureFiles | None = field(default=None, compare=False)

    @property
    def gravity(self) -> float:
        """m/s², at its place; the standard value where none is given."""
        if self.place is None:
            return STANDARD_GRAVITY
        return normal_gravity(math.radians(self.place.latitude_deg), self.place.height_m)

    def between(self, start: float, end: float) -> Capture:
        """The same capture with only what happened in start ≤ time ≤ end (s)."""
        if not end > start:
            raise InputError(f"between({start}, {end}): the end must lie after the start")
        units = {name: unit.between(start, end) for name, unit in self.units.items()}
        kept = tuple(c for c in self.calibrations if c.seen_within(start, end))
        gone = [_cut_away(c, start, end) for c in self.calibrations if c not in kept]
        trials = of_trials.between(self.trials, start, end)
        notes = (*self.notes, *gone)
        return dataclasses.replace(
            self, units=units, calibrations=kept, notes=notes, trials=trials, files=None
        )

    def without(self, *names: str) -> Capture:
        """The same capture as if the named units had not been worn."""
        units = {name: unit for name, unit in self.units.items() if name not in names}
        return dataclasses.replace(self, units=units)

    def _card(self) -> Card:
        who = self.person
        size = () if who is None else ((who.stature_m, "m"), (who.mass_kg, "kg"))
        known = ", ".join(f"{value:g} {unit}" for value, unit in size if value is not None)
        told = ", ".join(f"{c.kind} {c.start:g}–{c.end:g} s" for c in self.calibrations)
        facts = {
            "body": f"{self.model.name}, {counted(len(self.model.segments), 'segment')}",
            "person": known,
            "start": "" if self.start_time is None else self.start_time.isoformat(),
            "declared": told,
            "trials": ", ".join(trial.name for trial in self.trials),
            "notes": "" if not self.notes else counted(len(self.notes), "note"),
        }
        headings = ("unit", "segment", "sensors", ">samples", ">Hz", ">time s", "mounting")
        rows = tuple(unit._row() for unit in self.units.values())
        lines = tuple(f"{word} {value}" for word, value in facts.items() if value)
        return Card(f"Capture: {self.title or self.source or 'no title'}", lines, headings, rows)


def in_turn(units: Iterable[Unit]) -> Iterator[Unit]:
    """Units one by one, the samples of each let go of when the next is asked for."""
    for unit in units:
        yield unit
        unit.let_go()


def unmeasured_joints(capture: Capture) -> tuple[str, ...]:
    """Joints of the body with no unit on one side: what is found of them is inferred."""
    worn = {unit.segment for unit in capture.units.values()}
    return tuple(n for n, joint in capture.model.joints.items() if not {joint.parent, joint.child} <= worn)


def _cut_away(stretch: Calibration, start: float, end: float) -> Finding:
    """What a cut costs: a declared stretch that lies outside it tells nothing any more."""
    return Finding(
        "stretch-unseen",
        "warning",
        f"the declared stretch ({stretch.kind}) at {stretch.start:.2f} to {stretch.end:.2f} s lies outside "
        f"the part that was asked for, {start:.2f} to {end:.2f} s",
        "choose a part that holds it, declare another stretch inside, or give mountings",
        start=stretch.start,
        end=stretch.end,
        source=f"at least {LEAST_SEEN_S} s must have been recorded: two keyframes",
        handled="it tells nothing about how units sit",
        harm_deg=30.0,
    )
