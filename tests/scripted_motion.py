"""Motions scripted by sums of sines, the units that recorded them, and how far an estimate is off."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from functools import cache

import numpy as np
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence, from_joint_angles
from bodyfit.body.person import Person
from bodyfit.files.model.model_file import read_model
from bodyfit.recording.capture import Capture, Place
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import Simulated, simulate

PLACE = Place(47.858, 9.0, 300.0)  # where the dip by WMM-2025 in 2027.5 is that of the simulated field, 64°
PERSON = Person(stature_m=1.75, mass_kg=70.0)
MIDDLES_DEG = {"elevation": -60.0, "pronation": 80.0}  # where an angle rests; a knee or an elbow: half bent
SWING_DEG = 25.0


@cache
def person(model: str) -> BodyModel:
    """A human model, scaled."""
    return read_model(model).scaled(PERSON)


def swung(
    model: BodyModel,
    seconds: float,
    rate: float = 100.0,
    swing_deg: float = SWING_DEG,
    speed: float = 1.0,
    period: float | None = None,
) -> PoseSequence:
    """Every joint angle with a range swung by sines, the root leaning, turning and swaying.

    Parameters
    ----------
    seconds, rate : length and Hz
    swing_deg : most that an angle leaves its middle; stiff angles and narrow ranges less
    speed : 1 for sines between 0.3 and 1.3 Hz
    period : s after which all repeats, or None: it never does
    """
    time = np.arange(0.0, seconds, 1 / rate)
    rng = np.random.default_rng(len(model.joints))

    def wave(size: float) -> np.ndarray:
        f, phase = speed * rng.uniform(0.3, 0.6) * np.array([1.0, 2.15]), rng.uniform(0, 2 * math.pi, 2)
        f = f if period is None else np.round(f * period) / period
        slow, fast = np.sin(2 * math.pi * np.outer(f, time) + phase[:, None])
        return np.radians(size) * (0.75 * slow + 0.25 * fast)

    angles: dict[str, dict[str, np.ndarray]] = {}
    for name, joint in model.joints.items():
        angles[name] = {}
        for angle in joint.angles:
            limits = np.degrees(joint.range.get(angle, (-180.0, 180.0)))
            stiff = np.degrees(joint.stiffness.get(angle, math.inf))
            middle = MIDDLES_DEG.get(angle, 60.0 if limits[1] >= 130 and limits[0] > -20 else 0.0)
            size = min(swing_deg, 0.5 * stiff, 0.8 * (limits[1] - middle), 0.8 * (middle - limits[0]))
            angles[name][angle] = np.radians(middle) + wave(size)
    lean = Rotation.from_euler("YZX", np.stack([wave(40.0), wave(10.0), wave(8.0)], -1))
    sway = np.stack([wave(6.0), 1.0 + wave(2.0), wave(6.0)], -1)
    return from_joint_angles(model, time, angles, lean, sway)


def quiet(**changes) -> SimulationSettings:
    """Good units, rigidly on the bone, at 50 Hz: a tenth of the noise of a wearable-class chip."""
    usual = SimulationSettings()
    small = {
        "gyroscope_noise_density": 0.1 * usual.gyroscope_noise_density,
        "gyroscope_bias_sd": 0.1 * usual.gyroscope_bias_sd,
        "accelerometer_noise_density": 0.1 * usual.accelerometer_noise_density,
        "accelerometer_bias_sd": 0.1 * usual.accelerometer_bias_sd,
        "magnetometer_noise_sd": 0.1 * usual.magnetometer_noise_sd,
        "sampling_frequency": 50.0,
    }
    return SimulationSettings.perfect(**(small | changes))


@cache
def simulated(model: str = "right_arm", seconds: float = 15.0, speed: float = 1.0) -> Simulated:
    """A scripted motion of a human model, and what quiet units on every segment recorded of it."""
    return simulate(swung(person(model), seconds, speed=speed), settings=quiet(), place=PLACE)


def with_units(capture: Capture, units: Mapping) -> Capture:
    """The capture with these units instead."""
    return dataclasses.replace(capture, units=dict(units))


def rms_deg(vectors: np.ndarray) -> float:
    """Root mean square length of rotation vectors (..., 3), degrees."""
    return float(np.degrees(np.sqrt(np.mean(np.sum(np.square(vectors), -1)))))


def errors(estimate: Mapping[str, Rotation], truth: Mapping[str, Rotation]) -> dict[str, np.ndarray]:
    """Segment -> (T, 3) rotation vector, world frame, from the true rotation to the estimate."""
    return {name: (estimate[name] * truth[name].inv()).as_rotvec() for name in estimate}


UP = np.array([0.0, 1.0, 0.0])


def direction_deg(estimate: Rotation, truth: Rotation, world: np.ndarray = UP) -> float:
    """Root mean square angle between where the estimate and the truth see a direction of the world."""
    cosine = np.sum(estimate.inv().apply(world) * truth.inv().apply(world), -1)
    return float(np.degrees(np.sqrt(np.mean(np.square(np.arccos(np.clip(cosine, -1, 1)))))))


def since_start_deg(estimate: Rotation, truth: Rotation) -> float:
    """Root mean square error of the turn since the first frame."""
    return rms_deg((estimate[0].inv() * estimate * (truth[0].inv() * truth).inv()).as_rotvec())


def relative_deg(
    model: BodyModel, estimate: Mapping[str, Rotation], truth: Mapping[str, Rotation]
) -> dict[str, float]:
    """Joint -> root mean square error of the child's rotation against its parent, degrees."""
    out = {}
    for name, joint in model.joints.items():
        mine = estimate[joint.parent].inv() * estimate[joint.child]
        theirs = truth[joint.parent].inv() * truth[joint.child]
        out[name] = rms_deg((mine * theirs.inv()).as_rotvec())
    return out
