"""Which worn units would be enough for a motion: what is asked, what is tried, and what comes of one try."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation

from .capture import Capture
from .comparing import SHORT
from .errors import BodyfitError, InputError, suggest
from .fitting import Fit, fit
from .information import angle_bound, clear_of_lock
from .joint_angles import wrap
from .poses import PoseSequence
from .simulation import Simulated, simulate
from .simulation_settings import SimulationSettings
from .weights import Weights

SIX = ("accelerometer", "gyroscope")
NINE = ("accelerometer", "gyroscope", "magnetometer")
UNKNOWN = math.pi  # rad, error of an angle that no solution gives
LEAST_MOUNTING = math.radians(0.01)
LEAST_S = 3.0  # s of a motion that a plan can be made of
BOUND_SEED = 0  # bounds hardly depend on the draw; one for all keeps the order of sets the same


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


# ---- one recording simulated ----


def drawn(question: Question, worn: WornSet, seed: int) -> tuple[Simulated, Capture]:
    """A recording of these units, mountings stated as badly as asked; a unit's errors go by its segment."""
    made = simulate(question.motion, [s for s, _ in worn.worn], question.settings, seed)
    sensors = {f"{segment}_unit": kind for segment, kind in worn.worn}
    units = {}
    for name, unit in made.capture.units.items():
        rng = np.random.default_rng([seed, *b"stated mounting", *name.encode()])
        off = Rotation.from_rotvec(question.mounting_sd * rng.standard_normal(3))
        stated = (off * made.units[name].mounting).as_quat()
        units[name] = dataclasses.replace(unit, mounting=stated).only(frozenset(sensors[name]))
    return made, dataclasses.replace(made.capture, units=units)


def bound(question: Question, worn: WornSet) -> dict[str, float]:
    """Information bound of every angle under tolerance, "joint.angle" -> rad."""
    made, capture = drawn(question, worn, BOUND_SEED)
    return _asked(question, angle_bound(made, capture, question.mounting_sd))


def trial(question: Question, worn: WornSet, number: int) -> dict[str, float]:
    """Error of every angle under tolerance in one simulated recording, root mean square over time.

    Parameters
    ----------
    question, worn : what is asked, and the set that is tried
    number : of the recording, from 0; the same number draws the same errors for every set

    Returns
    -------
    "joint.angle" -> rad; π where there is no solution; "slips" -> slips that were found, though none happened
    """
    made, capture = drawn(question, worn, 1000 * question.seed + number + 1)
    weights = dataclasses.replace(Weights(), mounting=max(question.mounting_sd, LEAST_MOUNTING))
    try:
        found = fit(capture, weights=weights)
    except BodyfitError:
        return {f"{joint}.{angle}": UNKNOWN for joint, angle in question.tolerance} | {"slips": 0.0}
    slips = sum(f.kind == "unit-slipped" for f in found.findings)
    return _asked(question, angle_errors(found, made.truth)) | {"slips": float(slips)}


def angle_errors(found: Fit, truth: PoseSequence) -> dict[str, dict[str, float]]:
    """Joint -> angle -> rad, root mean square error; NaN where it is next to gimbal lock throughout."""
    out = {}
    inside = (found.time >= truth.time[0]) & (found.time <= truth.time[-1])
    nearest = np.searchsorted(truth.time, found.time[inside] - 1e-6).clip(0, len(truth.time) - 1)
    for name, joint in truth.model.joints.items():
        true = {a: np.unwrap(v) for a, v in truth.joint_angles[name].items()}
        clear = clear_of_lock(joint, true)[nearest]
        out[name] = {}
        for a, values in true.items():
            off = wrap(
                found.joint_angles[name][a][inside] - np.interp(found.time[inside], truth.time, values)
            )
            out[name][a] = float(np.sqrt(np.mean(off[clear] ** 2))) if clear.any() else math.nan
    return out


def _asked(question: Question, angles: Mapping[str, Mapping[str, float]]) -> dict[str, float]:
    """Those under tolerance that mean something."""
    named = {f"{joint}.{angle}": angles[joint][angle] for joint, angle in question.tolerance}
    return {name: value for name, value in named.items() if math.isfinite(value)}
