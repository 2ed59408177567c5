"""What worn units would have measured during a known motion, with every error known."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from ..body.chain import BodyModel
from ..body.motion.poses import PoseSequence
from ..body.motion.smooth_curves import SmoothMotion, smooth_motion
from ..body.person import Person
from ..core.cards import Card, Shown
from ..core.gravity import STANDARD_GRAVITY, normal_gravity
from ..errors import InputError, suggest
from ..recording.capture import Calibration, Capture, Place, Unit
from .room_field import MagneticField, scattered_dipoles
from .sensor_errors import SensorError, drawn_error, lost, white_sd
from .settings import SimulationSettings
from .soft_tissue import drawn_tissue
from .unit_path import UnitPath, WornUnit, unit_path, usual_place


@dataclass(frozen=True, eq=False, repr=False)
class UnitTruth(Shown):
    """All that is true about one simulated unit, at the true times `Simulated.truth.time`.

    Attributes
    ----------
    segment : what it is worn on
    mounting : segment_from_unit at rest, whatever the capture states
    position : (3,) m in the segment frame at rest
    rotation : length T, world_from_unit, soft tissue included
    place : (T, 3) m, world frame
    soft_turn, soft_shift : (T, 3) rotation vector (rad) and m, of the unit against the bone, segment frame
    errors : sensor name -> its drawn errors
    clock_offset, clock_rate : s, relative; stamp = clock_offset + (1 + clock_rate) × true time
    kept : (T,) bool, samples that arrived
    """

    segment: str
    mounting: Rotation
    position: np.ndarray
    rotation: Rotation
    place: np.ndarray
    soft_turn: np.ndarray
    soft_shift: np.ndarray
    errors: Mapping[str, SensorError]
    clock_offset: float
    clock_rate: float
    kept: np.ndarray

    def _card(self) -> Card:
        clock = f"clock {1e3 * self.clock_offset:+.1f} ms, {1e6 * self.clock_rate:+.1f} ppm"
        arrived = f"{int(np.sum(self.kept))} of {len(self.kept)} samples arrived"
        return Card(f"Truth of a simulated unit on {self.segment}", (clock, arrived))

    @property
    def soft_turn_rms(self) -> float:
        """Root mean square angle between unit and bone beyond the mounting, rad."""
        return float(np.sqrt(np.mean(np.sum(self.soft_turn**2, -1))))

    @property
    def soft_shift_rms(self) -> float:
        """Root mean square distance of the unit from its place at rest, m."""
        return float(np.sqrt(np.mean(np.sum(self.soft_shift**2, -1))))


@dataclass(frozen=True, eq=False, repr=False)
class Simulated(Shown):
    """A capture and the truth behind it; `truth.time` is the true time of every sample."""

    capture: Capture
    truth: PoseSequence
    units: Mapping[str, UnitTruth]
    settings: SimulationSettings
    field: MagneticField
    gravity: float
    seed: int

    def _card(self) -> Card:
        told = self.capture._card()
        return replace(told, title=f"Simulated, seed {self.seed}: {self.capture.title}")


def simulate(
    poses: PoseSequence,
    worn: Iterable[str] | Mapping[str, WornUnit] | None = None,
    settings: SimulationSettings | None = None,
    seed: int = 0,
    *,
    model: BodyModel | None = None,
    title: str = "Simulated capture",
    person: Person | None = None,
    place: Place | None = None,
    calibrations: tuple[Calibration, ...] = (),
) -> Simulated:
    """Capture that worn units would have recorded during a motion.

    Parameters
    ----------
    poses : the motion; its model must know every joint centre
    worn : segments that carry a unit, or unit name -> `WornUnit`; None: every segment carries one
    settings : how good the units are
    seed : same seed, same capture; each unit draws from its own stream, whatever else is worn
    model : body model of the capture; default is the motion's own, true joint centres included
    title, person, place, calibrations : handed on to the capture; `place` also decides gravity

    Returns
    -------
    simulated : capture and truth

    Raises
    ------
    InputError
        A segment is not in the model, or the motion can't be used.

    Notes
    -----
    The motion is low-passed first (`smooth_motion`); the filtered motion is the truth. The gyroscope reads
    the rate averaged over one sampling interval centred on its stamp, the accelerometer the specific force
    at the stamp: second derivative of the unit's position, gravity taken off.
    """
    settings = settings or SimulationSettings()
    placed = _placed(worn, poses.model)
    motion = smooth_motion(poses, settings.motion_cutoff)
    truth = motion.poses(_true_times(motion, settings.sampling_frequency))
    gravity = _gravity(place)
    room = _room(settings, motion, seed)
    made = {
        name: _simulate_unit(name, w, motion, settings, room, gravity, seed) for name, w in placed.items()
    }
    capture = Capture(
        {name: unit for name, (unit, _) in made.items()},
        model or poses.model,
        title,
        person,
        place,
        calibrations=calibrations,
        source=f"simulated by bodyfit, seed {seed}",
    )
    units = {name: unit_truth for name, (_, unit_truth) in made.items()}
    return Simulated(capture, truth, units, settings, room, gravity, seed)


def _placed(
    worn: Iterable[str] | Mapping[str, WornUnit] | None, model: BodyModel
) -> dict[str, tuple[WornUnit, np.ndarray]]:
    """Unit name -> where it is worn and its place (3,) m; every segment checked."""
    if not isinstance(worn, Mapping):
        worn = {
            f"{segment}_unit": WornUnit(segment) for segment in (model.segments if worn is None else worn)
        }
    if not worn:
        raise InputError("worn: no unit is worn; name at least one segment")
    for name, unit in worn.items():
        if unit.segment not in model.segments:
            raise InputError(
                f"{name}: segment {unit.segment!r} is not in model {model.name!r}; "
                f"{suggest(unit.segment, model.segments)}"
            )
    return {
        name: (u, usual_place(model, u.segment) if u.position is None else np.asarray(u.position, float))
        for name, u in worn.items()
    }


def _true_times(motion: SmoothMotion, frequency: float) -> np.ndarray:
    """When samples are taken, (T,) s: one interval away from both ends, so that each can be averaged."""
    count = math.floor((motion.end - motion.start) * frequency + 1e-6)
    return motion.start + np.arange(1, count) / frequency


def _gravity(place: Place | None) -> float:
    if place is None:
        return STANDARD_GRAVITY
    return normal_gravity(math.radians(place.latitude_deg), place.height_m)


def _room(settings: SimulationSettings, motion: SmoothMotion, seed: int) -> MagneticField:
    """The field of the settings with the distortion that they ask for."""
    if settings.magnetic_distortion == 0:
        return settings.field
    path = motion.root_position(np.arange(motion.start, motion.end, 0.05))
    dipoles = scattered_dipoles(_stream(seed, "magnetic field"), path, settings.magnetic_distortion)
    return replace(settings.field, dipoles=settings.field.dipoles + dipoles)


def _stream(seed: int, name: str) -> np.random.Generator:
    return np.random.default_rng([seed, *name.encode()])


def _simulate_unit(
    name: str,
    worn: tuple[WornUnit, np.ndarray],
    motion: SmoothMotion,
    settings: SimulationSettings,
    room: MagneticField,
    gravity: float,
    seed: int,
) -> tuple[Unit, UnitTruth]:
    """One unit: true path, true signals, then what its sensors make of them."""
    rng = _stream(seed, name)
    truth, path = _drawn_unit(rng, *worn, motion, settings, gravity)
    time = _true_times(motion, settings.sampling_frequency)
    signals = path.signals(time, 1 / settings.sampling_frequency, room, gravity)
    read = {sensor: error.read(signals[sensor])[truth.kept] for sensor, error in truth.errors.items()}
    unit = Unit(
        name,
        truth.segment,
        (truth.clock_offset + (1 + truth.clock_rate) * time)[truth.kept],
        read["accelerometer"],
        read["gyroscope"],
        read["magnetometer"],
        mounting=_stated(truth.mounting, settings, _stream(seed, f"{name}, as stated")),
        position=truth.position if settings.state_position else None,
        full_scale={s: e.full_scale for s, e in truth.errors.items() if math.isfinite(e.full_scale)},
    )
    return unit, truth


def _drawn_unit(
    rng: np.random.Generator,
    worn: WornUnit,
    position: np.ndarray,
    motion: SmoothMotion,
    settings: SimulationSettings,
    gravity: float,
) -> tuple[UnitTruth, UnitPath]:
    """All that is random about one unit, in an order that no setting changes, and the path that follows."""
    nominal = Rotation.identity() if worn.mounting is None else Rotation.from_quat(worn.mounting)
    mounting = _drawn_turn(rng, settings.mounting_spread) * nominal
    tissue = drawn_tissue(rng, settings.soft_tissue_deg_per_g, settings.soft_tissue_mm_per_g)
    clock_offset, clock_rate = rng.standard_normal(2) * (settings.clock_offset_sd, settings.clock_rate_sd)
    time = _true_times(motion, settings.sampling_frequency)
    kept = ~lost(rng, len(time), settings.dropped_share)
    sagging = gravity if settings.soft_tissue_sags else 0.0
    path = unit_path(worn.segment, position, mounting, tissue, motion, sagging)
    truth = UnitTruth(
        worn.segment,
        mounting,
        position,
        path.rotation(time),
        path.position(time),
        path.soft_turn(time),
        path.soft_shift(time),
        _drawn_errors(rng, len(time), settings),
        float(clock_offset),
        float(clock_rate),
        kept,
    )
    return truth, path


def _stated(true: Rotation, settings: SimulationSettings, rng: np.random.Generator) -> np.ndarray | None:
    """The mounting as the capture states it, (4,) quaternion xyzw."""
    off = Rotation.from_rotvec(settings.stated_mounting_sd * rng.standard_normal(3))
    return (off * true).as_quat() if settings.state_mounting else None


def _drawn_turn(rng: np.random.Generator, spread: float) -> Rotation:
    """Rotation by up to `spread` (rad) about any axis."""
    axis = rng.standard_normal(3)
    return Rotation.from_rotvec(spread * rng.random() * axis / np.linalg.norm(axis))


def _drawn_errors(rng: np.random.Generator, count: int, s: SimulationSettings) -> dict[str, SensorError]:
    fs = s.sampling_frequency
    common = {"scale_sd": s.scale_error_sd, "misalignment_sd": s.misalignment_sd}
    turning = {
        "noise": white_sd(s.gyroscope_noise_density, fs),
        "bias_sd": s.gyroscope_bias_sd,
        "bias_walk": s.gyroscope_bias_walk,
        "full_scale": s.gyroscope_full_scale,
    }
    pushing = {
        "noise": white_sd(s.accelerometer_noise_density, fs),
        "bias_sd": s.accelerometer_bias_sd,
        "full_scale": s.accelerometer_full_scale,
    }
    field = {"noise": s.magnetometer_noise_sd, "bias_sd": s.magnetometer_bias_sd}
    sensors = {"gyroscope": turning, "accelerometer": pushing, "magnetometer": field}
    return {name: drawn_error(rng, count, 1 / fs, **common, **own) for name, own in sensors.items()}
