"""Whether mountings are as sure as they say: simulated captures whose errors are drawn as the weights say.

`python docs/mounting_honesty.py` runs 200 captures of each kind and prints the mean normalised error squared,
φᵀ C⁻¹ φ with φ from the mounting that was found to the true one, three degrees of freedom a unit.
"""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Iterator

import numpy as np
from scipy.spatial.transform import Rotation
from scipy.stats import chi2

import bodyfit
from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint, Segment
from bodyfit.recording.capture import Calibration
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import Simulated, simulate
from bodyfit.simulation.unit_path import WornUnit
from bodyfit.weights import Weights

KINDS = ("two hinges, mountings given", "still pose", "soft hinge")
SECONDS, RATE, STILL, SETTLED = 25.0, 50.0, 3.0, 5.0
TWO = frozenset({"accelerometer", "gyroscope"})
SETTINGS = SimulationSettings(sampling_frequency=RATE, mounting_spread=0.4)


def wave(rng: np.random.Generator, time: np.ndarray, size: float) -> np.ndarray:
    """A lively, slow and fast swing that starts from rest after the still stretch."""
    slow, fast = rng.uniform(0.25, 0.6), rng.uniform(0.7, 1.2)
    a, b = rng.uniform(0, 2 * np.pi, 2)
    swing = 0.75 * np.sin(2 * np.pi * slow * time + a) + 0.25 * np.sin(2 * np.pi * fast * time + b)
    return size * moving(time) * swing


def moving(time: np.ndarray) -> np.ndarray:
    """From 0 while still to 1 when in full motion."""
    share = np.clip((time - STILL) / (SETTLED - STILL), 0, 1)
    return share**2 * (3 - 2 * share)


def model_of(kind: str) -> BodyModel:
    """Three segments of 0.4 m that hang from each other."""
    segments = {n: Segment(n, length=0.4) for n in "abc"}
    place = {"centre_in_parent": np.array([0.0, -0.4, 0.0]), "centre_in_child": np.zeros(3)}
    if kind == KINDS[0]:
        first = Joint("ab", "a", "b", "hinge", axis=np.array([0.0, 0.0, 1.0]), **place)
        second = Joint("bc", "b", "c", "hinge", axis=np.array([1.0, 0.0, 0.0]), **place)
    else:
        stiff = {"adduction": np.radians(4), "internal_rotation": np.radians(8)}
        wide = {"flexion": (np.radians(-5), np.radians(150))}
        first = Joint("ab", "a", "b", **place)
        knee = {"stiffness": stiff, "range": wide, "signs": (-1, 1, 1)} if kind == KINDS[2] else {}
        second = Joint("bc", "b", "c", **knee, **place)
    return BodyModel("three", segments, {"ab": first, "bc": second})


def joint_turn(rng: np.random.Generator, joint: Joint, time: np.ndarray, w: Weights) -> Rotation:
    """How one joint moves; axes differ from the model's by as much as the weights say."""
    if joint.type == "hinge":
        assert joint.axis is not None
        off = Rotation.from_rotvec(w.hinge_declared * rng.standard_normal(3))
        return Rotation.from_rotvec(wave(rng, time, 0.9)[:, None] * off.apply(joint.axis))
    if joint.flexes_only:
        off = Rotation.from_rotvec(w.flexion_axis * rng.standard_normal(3))
        bent = -np.abs(wave(rng, time, 1.2))
        beside = Rotation.from_euler("XY", np.stack([wave(rng, time, 0.05), wave(rng, time, 0.08)], -1))
        return Rotation.from_rotvec(bent[:, None] * off.apply([0.0, 0.0, 1.0])) * beside
    return Rotation.from_euler("ZXY", np.stack([wave(rng, time, s) for s in (0.8, 0.4, 0.4)], -1))


def motion(rng: np.random.Generator, model: BodyModel, held: bool, w: Weights) -> PoseSequence:
    """A random motion after a still stretch, in which each segment is off as people are."""
    time = np.arange(0.0, SECONDS, 1 / RATE)
    lean = np.stack([wave(rng, time, s) for s in (0.9, 0.25, 0.2)], -1)
    rotations = {"a": Rotation.from_euler("YZX", lean)}
    for joint in model.joints.values():
        rotations[joint.child] = rotations[joint.parent] * joint_turn(rng, joint, time, w)
    if held:
        sd = np.array([w.pose_tilt, w.pose_heading, w.pose_tilt])
        for name in rotations:
            off = sd * rng.standard_normal(3)
            rotations[name] = Rotation.from_rotvec(np.outer(1 - moving(time), off)) * rotations[name]
    sway = np.stack([wave(rng, time, s) for s in (0.15, 0.05, 0.15)], -1)
    facing = Rotation.from_rotvec([0.0, rng.uniform(-np.pi, np.pi), 0.0])
    return PoseSequence(time, {n: facing * r for n, r in rotations.items()}, model, sway)


def made(kind: str, seed: int, settings: SimulationSettings = SETTINGS) -> Simulated:
    """One capture of a kind, its stated mountings off as people are."""
    rng, w = np.random.default_rng([seed, KINDS.index(kind)]), Weights()
    model = model_of(kind)
    plain = without_centres(model)
    held = kind != KINDS[0]
    still = (Calibration("still", 0.5, STILL - 0.5),) if held else ()
    out = simulate(motion(rng, model, held, w), None, settings, seed, model=plain, calibrations=still)
    units = {}
    for name, unit in out.capture.units.items():
        off = Rotation.from_rotvec(w.mounting * rng.standard_normal(3))
        given = not held or unit.segment == "a"
        stated = (off * out.units[name].mounting).as_quat() if given else None
        units[name] = dataclasses.replace(unit, mounting=stated)
    return dataclasses.replace(out, capture=dataclasses.replace(out.capture, units=units))


def slipping(kind: str, seed: int, angle_deg: float, across: bool = False) -> tuple[Simulated, str, float]:
    """A capture in which one unit turns on its segment in 0.3 s; the unit, and when, in s.

    About any axis, or about any across the segment.
    """
    rng, w = np.random.default_rng([seed, 7, KINDS.index(kind)]), Weights()
    model, held = model_of(kind), kind != KINDS[0]
    poses, when, on = motion(rng, model, held, w), rng.uniform(8, 18), "abc"[rng.integers(3)]
    axis = rng.standard_normal(3) * ([1, 0, 1] if across else 1)
    share = np.clip((poses.time - when) / 0.3 + 0.5, 0, 1)
    turn = Rotation.from_rotvec(np.radians(angle_deg) * share[:, None] * axis / np.linalg.norm(axis))
    carrier = Joint("s", on, "s", centre_in_parent=np.array([0.03, -0.18, 0.03]), centre_in_child=np.zeros(3))
    body = BodyModel("slipping", {**model.segments, "s": Segment("s")}, {**model.joints, "s": carrier})
    rotations = {**poses.rotations, "s": poses.rotations[on] * turn.inv()}
    worn = {f"{n}_unit": WornUnit(n) for n in "abc"} | {f"{on}_unit": WornUnit("s", position=np.zeros(3))}
    still = (Calibration("still", 0.5, STILL - 0.5),) if held else ()
    out = simulate(
        PoseSequence(poses.time, rotations, body, poses.root_position),
        worn,
        dataclasses.replace(SETTINGS, mounting_spread=0.0),
        seed,
        calibrations=still,
    )
    units = {
        n: dataclasses.replace(u, segment=n[0], mounting=u.mounting if n[0] == "a" or not held else None)
        for n, u in out.capture.units.items()
    }
    capture = dataclasses.replace(out.capture, units=units, model=without_centres(model))
    return dataclasses.replace(out, capture=capture), f"{on}_unit", float(when)


def without_centres(model: BodyModel) -> BodyModel:
    """The model with no lengths and no joint centres."""
    joints = {
        n: dataclasses.replace(j, centre_in_parent=None, centre_in_child=None)
        for n, j in model.joints.items()
    }
    return BodyModel("three", {n: Segment(n) for n in model.segments}, joints)


def normalised(kind: str, seeds: range) -> Iterator[tuple[list[float], list[float]]]:
    """Per capture, normalised error squared and error in degrees of every unit."""
    for seed in seeds:
        case = made(kind, seed)
        found = bodyfit.fit(case.capture, sensors=TWO).mounting
        squared, degrees = [], []
        for name, unit in case.units.items():
            M, C = found[name]
            off = (unit.mounting * Rotation.from_matrix(M).inv()).as_rotvec()
            squared.append(float(off @ np.linalg.solve(C, off)))
            degrees.append(float(np.degrees(np.linalg.norm(off))))
        yield squared, degrees


def bounds(count: int, freedom: int = 3, share: float = 0.95) -> tuple[float, float]:
    """Two-sided bounds of a mean of `count` independent normalised errors squared."""
    low, high = chi2.ppf([(1 - share) / 2, (1 + share) / 2], freedom * count) / count
    return float(low), float(high)


def main(count: int = 200) -> None:
    """Prints the table."""
    for kind in KINDS:
        squared, degrees = map(np.array, zip(*normalised(kind, range(count)), strict=True))
        per_unit = ", ".join(
            f"{s:.2f} ({d:.1f}°)" for s, d in zip(squared.mean(0), degrees.mean(0), strict=True)
        )
        low, high = bounds(count)
        print(f"{kind}: mean {squared.mean():.2f}, by unit {per_unit}; 95 % bounds {low:.2f} to {high:.2f}")
        print("   shares within the 95 % ellipsoid:", np.mean(squared < chi2.ppf(0.95, 3), axis=0).round(3))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
