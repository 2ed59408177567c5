"""What a plan is asked: a motion, tolerances, and units to choose from."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ...body.motion.poses import PoseSequence
from ...errors import InputError, suggest
from ...recording.capture import SHORT
from ...simulation.settings import SimulationSettings

SIX = ("accelerometer", "gyroscope")
NINE = ("accelerometer", "gyroscope", "magnetometer")
LEAST_S = 3.0  # s of a motion that a plan can be made of; chosen; not tried


@dataclass(frozen=True, eq=False)
class Question:
    """What a plan is to answer.

    Attributes
    ----------
    motion : that will be recorded, every joint centre known
    tolerance : (joint, angle) -> rad, most that its root mean square error over time may be
    settings : how good the units are, soft tissue, field
    mounting_sd : rad, each component of the error of every stated mounting
    probability : with which all tolerances are to be met
    kinds : sensors that a unit may carry
    segments : that may carry a unit
    most_seeds : recordings simulated of one set at most
    seed : of all random draws
    """

    motion: PoseSequence
    tolerance: Mapping[tuple[str, str], float]
    settings: SimulationSettings = field(default_factory=SimulationSettings)
    mounting_sd: float = math.radians(1.5)
    probability: float = 0.9
    kinds: tuple[tuple[str, ...], ...] = (SIX, NINE)
    segments: tuple[str, ...] = ()
    most_seeds: int = 60
    seed: int = 0

    def __post_init__(self) -> None:
        if not self.tolerance:
            raise InputError("tolerance: none is given; expected at least one joint angle, as in r_elbow=5")
        if not 0.5 <= self.probability < 1:
            raise InputError(f"probability: found {self.probability}, expected 0.5 to below 1, such as 0.9")
        for name in self.segments:
            if name not in self.motion.model.segments:
                raise InputError(f"segments: no {name!r}; {suggest(name, self.motion.model.segments)}")
        if not self.segments:
            object.__setattr__(self, "segments", tuple(self.motion.model.segments))


@dataclass(frozen=True)
class WornSet:
    """One set of worn units.

    Attributes
    ----------
    worn : (segment, its sensors), in the order of the body's segments
    """

    worn: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def units(self) -> int:
        """How many are worn."""
        return len(self.worn)

    @property
    def axes(self) -> int:
        """Sensor axes of all units together, three a sensor."""
        return sum(3 * len(sensors) for _, sensors in self.worn)

    @property
    def name(self) -> str:
        """The set in words, units with the same sensors together."""
        by_kind: dict[tuple[str, ...], list[str]] = {}
        for segment, sensors in self.worn:
            by_kind.setdefault(sensors, []).append(segment)
        parts = [
            f"{', '.join(segments)}: {'+'.join(SHORT[s] for s in sensors)}"
            for sensors, segments in by_kind.items()
        ]
        return "; ".join(parts)

    def smaller(self, kinds: Sequence[tuple[str, ...]]) -> list[WornSet]:
        """Sets with one unit, or some sensors of one unit, less."""
        out = []
        for i, (segment, sensors) in enumerate(self.worn):
            before, after = self.worn[:i], self.worn[i + 1 :]
            out += [WornSet(before + after)] * (self.units > 1)
            out += [WornSet((*before, (segment, k), *after)) for k in kinds if set(k) < set(sensors)]
        return out


def full_set(question: Question) -> WornSet:
    """A unit on every segment that may carry one, with the most sensors that one may carry."""
    most = max(question.kinds, key=len)
    return WornSet(tuple((s, most) for s in question.motion.model.segments if s in question.segments))


def tolerances(words: Sequence[str], motion: PoseSequence) -> dict[tuple[str, str], float]:
    """Tolerances in words: "5" for every angle, "r_elbow=5" for a joint's, "r_elbow.flexion=3" for one.

    Parameters
    ----------
    words : degrees; one that names more goes before one that names less
    motion : whose body has the joints

    Returns
    -------
    (joint, angle) -> rad

    Raises
    ------
    InputError
        A joint or angle that there is not, or no positive number.
    """
    joints, out = motion.model.joints, {}
    for word in sorted(words, key=lambda w: ("=" in w, "." in w.partition("=")[0])):
        where, equals, number = word.rpartition("=")
        value = _degrees(word, number)
        name, _, angle = where.partition(".")
        if equals and name not in joints:
            raise InputError(f"tolerance {word!r}: no joint {name!r}; {suggest(name, joints)}")
        if angle and angle not in joints[name].angles:
            raise InputError(f"tolerance {word!r}: no angle {angle!r}; {suggest(angle, joints[name].angles)}")
        for joint in [joints[name]] if equals else joints.values():
            out |= {(joint.name, a): value for a in ([angle] if angle else joint.angles)}
    return out


def _degrees(word: str, number: str) -> float:
    try:
        value = float(number)
    except ValueError:
        value = math.nan
    if not 0 < value < 180:
        raise InputError(f"tolerance {word!r}: found {number!r}, expected degrees above 0, as in r_elbow=5")
    return math.radians(value)


def stretch(motion: PoseSequence, start: float | None = None, end: float | None = None) -> PoseSequence:
    """Part of a motion, its time counted from zero; default is its middle 15 s.

    Raises
    ------
    InputError
        Less than 3 s are left.
    """
    middle = 0.5 * (motion.time[0] + motion.time[-1])
    low = middle - 7.5 if start is None else start
    high = (middle if start is None else start + 7.5) + 7.5 if end is None else end
    if min(high, motion.time[-1]) - max(low, motion.time[0]) < LEAST_S:
        raise InputError(
            f"between {low:g} and {high:g} s: the motion lasts {motion.time[0]:.2f} to "
            f"{motion.time[-1]:.2f} s; expected at least {LEAST_S:g} s of it"
        )
    part = motion.between(low, high)
    return dataclasses.replace(part, time=part.time - part.time[0])
