"""Writes the four demo captures: motion scripted here, units simulated by bodyfit. Nothing was recorded.

Run it where bodyfit is installed: `python demo_captures/make_demo_captures.py [NAME ...]`. It writes the same
bytes each time.

Legs walk from a list of steps: feet stand still on their prints, roll over heel and ball, and swing to the
next print; the pelvis goes as high as both legs allow; knees and elbows follow from where ankles and wrists
are (two links, law of cosines). All lengths in m, angles in rad, world +Y up, +X ahead at the start.

Nobody stands in the neutral pose to the degree: in the declared still interval each segment is off it by an
error drawn once a wearer (`as_people_stand`), which goes as the wearer sets off.
"""

from __future__ import annotations

import math
import sys
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d, minimum_filter1d
from scipy.spatial.transform import Rotation

from bodyfit.body.anatomy import LOOSELY_HELD
from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.joint_angles import joint_angles
from bodyfit.body.motion.poses import PoseSequence, from_joint_angles
from bodyfit.body.parts import Joint
from bodyfit.body.person import Person
from bodyfit.files.model.model_file import read_model
from bodyfit.files.plain.atomic_file import write_text
from bodyfit.files.plain.tables import write_table
from bodyfit.files.plain.toml_writer import toml_section
from bodyfit.recording.capture import Calibration, Place, Unit
from bodyfit.simulation.room_field import Dipole, MagneticField
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import Simulated, simulate
from bodyfit.simulation.truth_files import write_truth
from bodyfit.simulation.unit_path import WornUnit

HERE = Path(__file__).resolve().parent
RATE = 120.0  # Hz of the scripted motion
DEG = math.pi / 180
REACH = 0.985  # share of a leg's length that walking uses at most
STRAIGHT = 0.9999  # share of a limb's length at which it counts as straight

CELLIST = Person(stature_m=1.68, mass_kg=61, sex="female")
CLIMBER = Person(stature_m=1.78, mass_kg=74, sex="male")
READER = Person(stature_m=1.66, mass_kg=63, sex="female")
PORTER = Person(stature_m=1.85, mass_kg=83, sex="male")

# ---- smooth pieces ----


def rise(time: np.ndarray, start: float, end: float) -> np.ndarray:
    """From 0 at `start` to 1 at `end`, with rate and acceleration zero at both (minimum jerk)."""
    x = np.clip((time - start) / (end - start), 0, 1)
    return x**3 * (10 - 15 * x + 6 * x**2)


def bump(time: np.ndarray, start: float, end: float) -> np.ndarray:
    """From 0 up to 1 halfway and back."""
    x = np.clip((time - start) / (end - start), 0, 1)
    return 64 * (x * (1 - x)) ** 3


def through(time: np.ndarray, *points: tuple[float, float]) -> np.ndarray:
    """Smooth course that rests at each (time, value) and moves without overshoot between them."""
    value = np.full(time.shape, float(points[0][1]))
    for (t0, v0), (t1, v1) in pairwise(points):
        value += (v1 - v0) * rise(time, t0, t1)
    return value


def wander(rng: np.random.Generator, time: np.ndarray, sd: float, seconds: float = 0.6) -> np.ndarray:
    """Slow random variation of standard deviation `sd`."""
    noise = gaussian_filter1d(rng.standard_normal(len(time)), seconds * RATE, mode="wrap")
    return sd * noise / noise.std()


def turn(axis: str, angle: np.ndarray) -> Rotation:
    """Rotations about one axis."""
    return Rotation.from_rotvec(np.outer(angle, np.eye(3)["xyz".index(axis)]))


def ahead(yaw: np.ndarray) -> np.ndarray:
    """Direction that a heading faces, (..., 3)."""
    return np.stack([np.cos(yaw), np.zeros_like(yaw), -np.sin(yaw)], -1)


def rightwards(yaw: np.ndarray) -> np.ndarray:
    """Direction to the right of a heading, (..., 3)."""
    return np.stack([np.sin(yaw), np.zeros_like(yaw), np.cos(yaw)], -1)


# ---- limbs of two links ----


@dataclass(frozen=True)
class Limb:
    """Two links that follow their ends: a leg (bend +1, knee ahead) or an arm (bend -1, elbow behind)."""

    upper: float
    lower: float
    bend: int

    def follow(self, start, end, right, limit=STRAIGHT) -> tuple[Rotation, Rotation]:
        """Rotations of both links.

        Parameters
        ----------
        start, end : (T, 3) hip and ankle, or shoulder and wrist; an end out of reach is brought nearer
        right : (T, 3) roughly the axis that knee or elbow turns about
        limit : number or (T,), share of its length that the limb reaches at most
        """
        reach = np.linalg.norm(end - start, axis=-1, keepdims=True)
        up = (start - end) / reach
        d = np.minimum(reach, np.reshape(limit, (-1, 1)) * (self.upper + self.lower))
        axis = right - np.sum(right * up, -1, keepdims=True) * up
        axis /= np.linalg.norm(axis, axis=-1, keepdims=True)
        front = np.cross(up, axis)
        cosine = np.clip((self.upper**2 + d**2 - self.lower**2) / (2 * self.upper * d), -1, 1)
        knee = self.upper * (-cosine * up + self.bend * np.sqrt(1 - cosine**2) * front)
        ankle = -d * up
        return _frame(-knee / self.upper, axis), _frame((knee - ankle) / self.lower, axis)


def _frame(up: np.ndarray, right: np.ndarray) -> Rotation:
    """Rotations whose Y is `up` and Z is `right`."""
    return Rotation.from_matrix(np.stack([np.cross(up, right), up, right], -1))


# ---- walking ----


@dataclass(frozen=True)
class Print:
    """Where a foot stands: under the ankle (x, z), height of the floor, heading."""

    x: float
    z: float
    floor: float
    yaw: float


@dataclass(frozen=True)
class Step:
    """One foot goes to a new print; `off` and `on` are its pitch (toes up) when it leaves and lands.

    The heel starts to rise `roll` s before the foot leaves.
    """

    side: str
    lift: float
    land: float
    to: Print
    off: float
    on: float
    roll: float


@dataclass(frozen=True)
class Foot:
    """Shape of a foot, m from the ankle: sole below, heel behind, ball ahead."""

    sole: float
    heel: float
    ball: float

    def ankle(self, stands: Print, pitch: np.ndarray, yaw: np.ndarray) -> np.ndarray:
        """Ankle (T, 3) over a print: toes up, the foot rolls over its heel; toes down, over its ball."""
        pivot = np.where(pitch > 0, -self.heel, self.ball)
        along = pivot - (np.cos(pitch) * pivot + np.sin(pitch) * self.sole)
        height = -np.sin(pitch) * pivot + np.cos(pitch) * self.sole
        base = np.array([stands.x, stands.floor, stands.z])
        return base + along[:, None] * ahead(yaw) + height[:, None] * np.array([0.0, 1.0, 0.0])


class Walker:
    """Collects steps one after the other, feet taking turns."""

    def __init__(self, width: float, start: float):
        self.width, self.now, self.side = width, start, "r"
        self.at = {"l": Print(0.0, -width, 0.0, 0.0), "r": Print(0.0, width, 0.0, 0.0)}
        self.first, self.steps = dict(self.at), []

    def step(self, x, z, floor, yaw, swing: float, off: float, on: float, roll: float = 0.24) -> None:
        """The next foot goes beside the point (x, z) on the line of travel."""
        away = self.width if self.side == "r" else -self.width
        sideways = away * rightwards(np.array(yaw))
        to = Print(x + sideways[0], z + sideways[2], floor, yaw)
        self.steps.append(Step(self.side, self.now, self.now + swing, to, off * DEG, on * DEG, roll))
        self.at[self.side] = to
        self.now += 1.25 * swing  # the rest is double support
        self.side = "l" if self.side == "r" else "r"

    def walk(self, x: float, to_x: float, count: int, floor: float, yaw: float, z: float = 0.0) -> None:
        """Steps of equal length; the last one brings the feet together."""
        for place in [*np.linspace(x, to_x, count + 1)[1:], to_x]:
            self.step(float(place), z, floor, yaw, 0.47, -60, 14, 0.34)

    def turn(self, x: float, z: float, floor: float, yaw: float, by: float, count: int) -> None:
        """Turns on the spot."""
        for share in [*np.arange(1, count + 1) / count, 1.0]:
            self.step(x, z, floor, yaw + share * by, 0.42, -28, 4)

    def wait(self, seconds: float) -> None:
        """Both feet stay."""
        self.now += seconds


def foot_track(time: np.ndarray, side: str, walker: Walker, foot: Foot, lift: float = 0.07):
    """Ankle (T, 3), pitch (T,), heading (T,) and whether it is in the air (T,), 0 to 1, of one foot."""
    steps = [s for s in walker.steps if s.side == side]
    prints = [walker.first[side], *(s.to for s in steps)]
    pitch, air, yaw = np.zeros_like(time), np.zeros_like(time), np.full_like(time, prints[0].yaw)
    for before, step, after in zip(prints, steps, [*steps[1:], None], strict=False):
        yaw += (step.to.yaw - before.yaw) * rise(time, step.lift, step.land)
        air += rise(time, step.lift, step.lift + 0.1) - rise(time, step.land - 0.1, step.land)
        stays = (after.lift if after else time[-1]) - step.land
        pitch += step.off * rise(time, step.lift - step.roll, step.lift + 0.1)
        pitch += (step.on - step.off) * rise(time, step.lift + 0.1, step.land)
        pitch -= step.on * rise(time, step.land, step.land + min(0.16, 0.4 * stays))
    ankle = foot.ankle(prints[0], pitch, yaw)
    for before, step in zip(prints, steps, strict=False):
        ankle = np.where(
            (time >= step.lift)[:, None], _swing(time, before, step, foot, pitch, yaw, lift), ankle
        )
    return ankle, pitch, yaw, air


def _swing(time, before: Print, step: Step, foot: Foot, pitch, yaw, lift: float) -> np.ndarray:
    """Ankle from one print to the next, and on it afterwards; up first on the way up, down last."""
    old, new = foot.ankle(before, pitch, yaw), foot.ankle(step.to, pitch, yaw)
    span = step.land - step.lift
    climb = step.to.floor - before.floor
    early, late = (0.0, 0.65) if climb > 0 else (0.35, 1.0) if climb < 0 else (0.0, 1.0)
    level = rise(time, step.lift, step.land)[:, None]
    height = rise(time, step.lift + early * span, step.lift + late * span)
    ankle = old + level * (new - old)
    ankle[:, 1] = old[:, 1] + height * (new[:, 1] - old[:, 1]) + lift * bump(time, step.lift, step.land)
    return ankle


def pelvis_course(time: np.ndarray, walker: Walker) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Point between the feet (T, 3) on the floor, heading (T,) and push to the standing side (T,) m."""
    at, keys = dict(walker.first), []
    ends = [0.0, *(s.land for s in walker.steps)]
    starts = [*(s.lift for s in walker.steps), time[-1]]
    push = np.zeros_like(time)
    for index, (landed, lifts) in enumerate(zip(ends, starts, strict=True)):
        middle = [np.mean([getattr(p, key) for p in at.values()]) for key in ("x", "floor", "z", "yaw")]
        if lifts - landed > 0.3:
            keys += [(landed + 0.12, middle), (lifts - 0.12, middle)]
        else:
            keys += [((landed + lifts) / 2, middle)]
        if index < len(walker.steps):
            step = walker.steps[index]
            at[step.side] = step.to
            push += (-0.03 if step.side == "r" else 0.03) * bump(time, step.lift - 0.15, step.land + 0.15)
    course = PchipInterpolator([t for t, _ in keys], [v for _, v in keys], axis=0)(
        np.clip(time, keys[0][0], keys[-1][0])
    )
    course = gaussian_filter1d(course, 0.13 * RATE, axis=0, mode="nearest")
    return course[:, :3], course[:, 3], push


def legs(
    time: np.ndarray, model: BodyModel, walker: Walker, crouch: np.ndarray, lean: np.ndarray, back: np.ndarray
):
    """Rotations of pelvis and legs, the pelvis's position and heading.

    Parameters
    ----------
    crouch : (T,) m that the pelvis goes below where the legs would let it
    lean : (T,) rad, pelvis forward
    back : (T,) m that the pelvis goes behind the feet
    """
    hips = {side: model.joints[f"{side}_hip"].centre_in_parent for side in "lr"}
    length = {part: model.segments[f"r_{part}"].length for part in ("thigh", "calf", "hindfoot")}
    foot = Foot(0.055, 0.25 * length["hindfoot"], 0.5 * length["hindfoot"])
    tracks = {side: foot_track(time, side, walker, foot) for side in "lr"}
    ground, yaw, push = pelvis_course(time, walker)
    split = np.sum((tracks["r"][0] - tracks["l"][0]) * ahead(yaw), axis=-1)
    heading = yaw + gaussian_filter1d(0.1 * split, 0.05 * RATE)
    pelvis = turn("y", heading) * turn("z", -lean) * turn("x", 1.2 * gaussian_filter1d(push, 0.05 * RATE))
    level = ground + push[:, None] * rightwards(yaw) - back[:, None] * ahead(yaw)
    whole = length["thigh"] + length["calf"]
    moving = gaussian_filter1d(
        np.clip(np.abs(np.gradient(level, time, axis=0)).sum(-1) / 0.2, 0, 1), 0.3 * RATE
    )
    share = STRAIGHT - (STRAIGHT - REACH) * moving
    tops = []
    for side in "lr":
        arm = pelvis.apply(hips[side])
        gap = np.hypot(*(level + arm - tracks[side][0])[:, [0, 2]].T) * (1 - 0.3 * tracks[side][3])
        tops.append(
            tracks[side][0][:, 1]
            + np.sqrt((share * whole) ** 2 - np.minimum(gap, 0.8 * whole) ** 2)
            - arm[:, 1]
        )
    top = minimum_filter1d(np.min(tops, axis=0), round(0.15 * RATE))
    position = level.copy()
    position[:, 1] = gaussian_filter1d(top, 0.07 * RATE, mode="nearest") - crouch
    rotations = {"pelvis": pelvis}
    for side, mirror in (("l", -1), ("r", 1)):
        ankle, pitch, foot_yaw, _ = tracks[side]
        axis = rightwards((heading + foot_yaw) / 2)
        hip, limit = position + pelvis.apply(hips[side]), STRAIGHT - 0.006 * moving
        thigh, calf = Limb(length["thigh"], length["calf"], 1).follow(hip, ankle, axis, limit)
        flexion = (thigh.inv() * calf).magnitude()
        rotations[f"{side}_thigh"] = thigh
        rotations[f"{side}_calf"] = calf * turn("y", mirror * 0.07 * flexion)  # a little screwing of the knee
        rotations[f"{side}_hindfoot"] = turn("y", foot_yaw) * turn("z", pitch)
    return rotations, position, heading


# ---- the three scenarios: model and poses ----


def cello_arm(rng: np.random.Generator) -> PoseSequence:
    """Bowing: strokes of varying length and speed, the elbow higher for the lower strings."""
    time = np.arange(0, 62, 1 / RATE)
    model = read_model("right_arm").scaled(CELLIST)
    plays = rise(time, 4.0, 6.5) - rise(time, 57.0, 59.5)
    bow, string = bowing(rng, time)
    alive = 0.15 + plays
    elevation = plays * (30 + 11 * string + 7 * bow + wander(rng, time, 1.5)) * DEG
    plane = plays * (-14 * bow + wander(rng, time, 2.0)) * DEG
    axial = plays * (-24 + 10 * bow + wander(rng, time, 2.0)) * DEG
    forward = 55 * DEG  # plane of elevation at rest; turned back by the axial rotation, so rest is neutral
    angles = {
        "r_shoulder": {
            "plane_of_elevation": forward + plane,
            "elevation": -elevation,
            "axial_rotation": -forward + axial,
        },
        "r_elbow": {
            "flexion": plays * (62 - 34 * bow + wander(rng, time, 2.0)) * DEG
            + alive * wander(rng, time, 0.4) * DEG,
            "carrying_angle": plays * (4 + wander(rng, time, 0.8)) * DEG,
            "pronation": plays * (66 + 9 * bow + 3 * string + wander(rng, time, 2.5)) * DEG,
        },
        "r_radiocarpal": {
            "flexion": plays * (-6 - 16 * bow + wander(rng, time, 3.0)) * DEG,
            "ulnar_deviation": plays * (5 - 9 * bow + wander(rng, time, 2.0)) * DEG,
            "rotation": plays * wander(rng, time, 1.0) * DEG,
        },
    }
    sizes = {"y": 3.5, "z": 2.5, "x": 2.0}
    sway = {axis: alive * wander(rng, time, size, 0.35) * DEG for axis, size in sizes.items()}
    thorax = (
        turn("y", sway["y"] - 6 * DEG * plays) * turn("z", sway["z"] - 7 * DEG * plays) * turn("x", sway["x"])
    )
    shift = np.stack([alive * wander(rng, time, 0.012, 0.35) for _ in range(3)], -1)
    return from_joint_angles(model, time, angles, thorax, shift + np.array([0.0, 0.65, 0.0]))


def bowing(rng: np.random.Generator, time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Place on the bow (-1 frog, 1 tip) and string (0 highest to 3 lowest), (T,) each."""
    place, string = [(6.3, 0.0)], [(6.3, 1.0)]
    now, end, on = 6.6, -1.0, 1
    while now < 56.0:
        lasts = float(rng.choice([0.35, 0.5, 0.8, 1.4], p=[0.3, 0.3, 0.25, 0.15]))
        place.append((now + lasts, end * min(1.0, lasts * 1.1) * rng.uniform(0.75, 1.0)))
        if rng.random() < 0.35:
            on = int(np.clip(on + rng.choice([-1, 1]), 0, 3))
            string.append((now + 0.1, float(string[-1][1])))
            string.append((now + 0.45, float(on)))
        now, end = now + lasts + 0.06, -end
    place.append((now + 0.8, 0.0))
    return through(time, *place), through(
        time, *[p for i, p in enumerate(string) if not i or p[0] > string[i - 1][0]]
    )


STAIR_START, GOING, RISER, RISERS = 6.3, 0.29, 0.17, 12
LANDING = STAIR_START + (RISERS - 1) * GOING + 0.75  # x where the person turns


def steel_stairs(rng: np.random.Generator) -> PoseSequence:
    """Two laps: walk to a steel staircase, climb it, turn on the landing, come down, walk back, turn."""
    time = np.arange(0, 92, 1 / RATE)
    model = read_model("lower_body").scaled(CLIMBER)
    walker = Walker(0.085, 4.6)
    for _ in range(2):
        climb_and_return(walker)
        walker.wait(0.7)
    moving = np.clip(rise(time, 4.0, 5.0) - rise(time, walker.now, walker.now + 1), 0.1, 1)
    lean = moving * (5 + wander(rng, time, 1.5)) * DEG
    rotations, position, _ = legs(time, model, walker, 0 * time, lean, 0 * time)
    for name in rotations:  # no two strides are the same
        rotations[name] = rotations[name] * shake(rng, time, moving, 0.8 * DEG)
    return PoseSequence(time, rotations, model, position)


def climb_and_return(walker: Walker) -> None:
    """Ahead to the stairs, up, turn, down, back to the start, turn."""
    top = RISERS * RISER
    walker.walk(0.0, STAIR_START - 0.25, 10, 0.0, 0.0)
    for riser in range(RISERS - 1):
        walker.step(STAIR_START + riser * GOING + 0.1, 0.0, (riser + 1) * RISER, 0.0, 0.52, -45, -2)
    for x in (LANDING - 0.5, LANDING, LANDING):
        walker.step(x, 0.0, top, 0.0, 0.5, -45, 4)
    walker.turn(LANDING, 0.0, top, 0.0, math.pi, 5)
    walker.wait(0.9)
    for x in (LANDING - 0.35, STAIR_START + (RISERS - 1) * GOING + 0.17):
        walker.step(x, 0.0, top, math.pi, 0.45, -40, 2)
    for riser in reversed(range(RISERS - 1)):
        walker.step(
            STAIR_START + riser * GOING + 0.19, 0.0, (riser + 1) * RISER, math.pi, 0.5, -50, -16, 0.45
        )
    walker.step(STAIR_START - 0.2, 0.0, 0.0, math.pi, 0.5, -50, -10, 0.45)
    walker.step(STAIR_START - 0.75, 0.0, 0.0, math.pi, 0.47, -58, 10, 0.55)
    walker.walk(STAIR_START - 0.75, 0.0, 9, 0.0, math.pi)
    walker.turn(0.0, 0.0, 0.0, math.pi, -math.pi, 5)


def shake(rng: np.random.Generator, time: np.ndarray, alive: np.ndarray, sd: float) -> Rotation:
    """Small random rotations about all axes."""
    return Rotation.from_rotvec(np.stack([alive * wander(rng, time, sd, 0.35) for _ in range(3)], -1))


# m: first riser, tread, riser, and where the bench stands on the landing
LIBRARY_STAIRS, TREAD, LIBRARY_RISER, LIBRARY_RISERS, BENCH = 4.3, 0.29, 0.16, 7, 8.3
SEAT_BACK, SEAT_DOWN = 0.40, 0.26  # m that the pelvis goes behind the feet and down to sit


def library_bench(rng: np.random.Generator) -> PoseSequence:
    """Walks to a stair, climbs it, sits down on a bench, gets up and sits four times, and goes back."""
    time = np.arange(0, 70, 1 / RATE)
    model = read_model("lower_body").scaled(READER)
    walker = Walker(0.08, 4.6)
    up_to_the_bench(walker)
    sits = seated(time, rng, walker)
    back_from_the_bench(walker)
    moving = np.clip(rise(time, 4.0, 5.0) - rise(time, walker.now, walker.now + 1), 0.1, 1)
    changes = 4 * sits * (1 - sits)  # 1 halfway between standing and sitting
    lean = (moving * (5 + wander(rng, time, 1.5)) + 34 * changes - 14 * sits) * DEG
    rotations, position, _ = legs(time, model, walker, SEAT_DOWN * sits, lean, SEAT_BACK * sits * (2 - sits))
    for name in rotations:
        rotations[name] = rotations[name] * shake(rng, time, moving, 0.8 * DEG)
    return PoseSequence(time, rotations, model, position)


def up_to_the_bench(walker: Walker) -> None:
    """Ahead to the stairs, up, on to the bench, and round, with the back to it."""
    top = LIBRARY_RISERS * LIBRARY_RISER
    walker.walk(0.0, LIBRARY_STAIRS - 0.25, 7, 0.0, 0.0)
    for riser in range(LIBRARY_RISERS - 1):
        x, floor = LIBRARY_STAIRS + riser * TREAD + 0.1, (riser + 1) * LIBRARY_RISER
        walker.step(x, 0.0, floor, 0.0, 0.52, -45, -2)
    for x in (*np.linspace(LIBRARY_STAIRS + LIBRARY_RISERS * TREAD - 0.08, BENCH, 6), BENCH):
        walker.step(float(x), 0.0, top, 0.0, 0.48, -45, 4)
    walker.turn(BENCH, 0.0, top, 0.0, math.pi, 5)


def seated(time: np.ndarray, rng: np.random.Generator, walker: Walker) -> np.ndarray:
    """How far somebody sits, (T,) 0 to 1: once for a while, then down again at once three times."""
    walker.wait(0.6)
    sits = np.zeros_like(time)
    for rest in (5.5, 1.0, 1.1, 1.0):
        down, up = rng.uniform(1.5, 1.8), rng.uniform(1.3, 1.5)
        sits += rise(time, walker.now, walker.now + down)
        walker.wait(down + rest)
        sits -= rise(time, walker.now, walker.now + up)
        walker.wait(up + rng.uniform(0.7, 0.9))
    return sits


def back_from_the_bench(walker: Walker) -> None:
    """To the stairs, down, and back to the start."""
    top, away = LIBRARY_STAIRS + (LIBRARY_RISERS - 1) * TREAD, LIBRARY_STAIRS - 0.75
    for x in np.linspace(BENCH, top + 0.17, 6)[1:]:
        walker.step(float(x), 0.0, LIBRARY_RISERS * LIBRARY_RISER, math.pi, 0.46, -45, 4)
    for riser in reversed(range(LIBRARY_RISERS - 1)):
        x = LIBRARY_STAIRS + riser * TREAD + 0.19
        walker.step(x, 0.0, (riser + 1) * LIBRARY_RISER, math.pi, 0.5, -50, -16, 0.45)
    walker.step(LIBRARY_STAIRS - 0.2, 0.0, 0.0, math.pi, 0.5, -50, -10, 0.45)
    walker.step(away, 0.0, 0.0, math.pi, 0.47, -58, 10, 0.55)
    walker.walk(away, -0.6, 8, 0.0, math.pi)


PORTER_SETS_OFF, PORTER_SWING = 3.95, 0.28  # s
STACK, SHELF = 0.42, 0.45  # m from the feet to the parcels on the floor, and to the shelf


@dataclass
class Parcels:
    """When the hands are where: course of the weights between hanging, floor, carrying and shelf."""

    grasp: list[float]
    up: list[float]
    put: list[float]
    free: list[float]


def parcel_lift(rng: np.random.Generator) -> PoseSequence:
    """Four parcels, each lifted from the floor, carried over and put on a shelf behind."""
    time = np.arange(0, 62, 1 / RATE)
    model = read_model("whole_body").scaled(PORTER)
    walker, when = Walker(0.11, PORTER_SETS_OFF), Parcels([], [], [], [])
    for _ in range(2):  # sets his feet
        walker.step(0.0, 0.0, 0.0, 0.0, PORTER_SWING, -20, 3, 0.1)
    walker.wait(5.7 - walker.now)
    for _ in range(4):
        carry_one(walker, when)
    bent = sum(
        through(time, (g - 1.5, 0), (g - 0.1, 1), (g + 0.3, 1), (u + 0.1, 0))
        for g, u in zip(when.grasp, when.up, strict=True)
    )
    bent = bent * (1 + wander(rng, time, 0.05, 1.0))
    moving = rise(time, 4.0, 5.0) - rise(time, walker.now, walker.now + 1)
    alive = np.maximum(moving, 0.1)
    lean = (44 * bent + 3 * moving + alive * wander(rng, time, 1.0)) * DEG
    rotations, position, heading = legs(time, model, walker, 0.22 * bent, lean, 0.19 * bent)
    trunk(rng, time, rotations, bent, alive)
    arms(rng, time, model, rotations, position, heading, walker, when, moving)
    for name in rotations:
        rotations[name] = rotations[name] * shake(rng, time, alive, 0.6 * DEG)
    return PoseSequence(time, rotations, model, position)


def carry_one(walker: Walker, when: Parcels) -> None:
    """One parcel: lift it, turn round, three steps to the shelf, put it there, and back again."""
    when.grasp.append(walker.now)
    when.up.append(walker.now + 1.6)
    walker.wait(1.9)
    walker.turn(0.0, 0.0, 0.0, 0.0, math.pi, 3)
    walker.walk(0.0, -1.2, 2, 0.0, math.pi)
    walker.wait(1.1)
    when.put.append(walker.now)
    when.free.append(walker.now + 0.5)
    walker.wait(1.0)
    walker.turn(-1.2, 0.0, 0.0, math.pi, -math.pi, 3)
    walker.walk(-1.2, 0.0, 2, 0.0, 0.0)
    walker.wait(1.6)


def trunk(rng, time, rotations: dict[str, Rotation], bent: np.ndarray, alive: np.ndarray) -> None:
    """Adds thorax and skull: the back bends with the pelvis, the eyes stay on the work."""
    flexion = (32 * bent + alive * wander(rng, time, 1.5)) * DEG
    twist = alive * wander(rng, time, 4.0) * DEG
    back = turn("z", -flexion) * turn("x", alive * wander(rng, time, 1.5) * DEG) * turn("y", twist)
    neck = turn("z", (14 * bent + alive * wander(rng, time, 3.0)) * DEG) * turn(
        "y", alive * wander(rng, time, 7.0) * DEG
    )
    rotations["thorax"] = rotations["pelvis"] * back
    rotations["skull"] = rotations["thorax"] * neck


def arms(rng, time, model: BodyModel, rotations, position, heading, walker: Walker, when: Parcels, moving):
    """Adds the arms: wrists go from hanging to the parcel, with it to the shelf, and back."""
    so_far = PoseSequence(
        time, {n: rotations.get(n, rotations["thorax"]) for n in model.segments}, model, position
    )
    length = {part: model.segments[f"r_{part}"].length for part in ("upperarm", "forearm")}
    places = {"floor": [], "carry": [], "shelf": []}
    holds = np.zeros_like(time)
    for g, u, p, f in zip(when.grasp, when.up, when.put, when.free, strict=True):
        holds += through(time, (g - 1.4, 0), (g, 1), (f, 1), (f + 1.0, 0))
        places["floor"].append(through(time, (g - 1.4, 0), (g - 1.3, 1), (g + 0.3, 1), (u + 0.3, 0)))
        places["shelf"].append(through(time, (p - 1.3, 0), (p, 1), (f + 0.9, 1), (f + 1.0, 0)))
    floor, shelf = (np.sum(places[key], axis=0)[:, None] for key in ("floor", "shelf"))
    reach = 0.36 + 0.2 * sum(bump(time, u - 1.3, u + 0.3) for u in when.up)
    carried = (
        position * [1, 0, 1]
        + reach[:, None] * ahead(heading)
        + np.outer(1.03 + wander(rng, time, 0.01), [0, 1, 0])
    )
    parcel = floor * [STACK, 0.28, 0.0] + shelf * [-1.2 - SHELF, 1.28, 0.0] + (1 - floor - shelf) * carried
    swing = _arm_swing(time, walker)
    for side, mirror in (("l", -1), ("r", 1)):
        shoulder = so_far.positions[f"{side}_upperarm"]
        across = rightwards(heading)
        down = STRAIGHT * (length["upperarm"] + length["forearm"]) * (1 - 0.02 * moving)
        hangs = (
            shoulder + down[:, None] * np.array([0.0, -1.0, 0.0]) + (mirror * swing)[:, None] * ahead(heading)
        )
        hangs += (moving * 0.05 * mirror)[:, None] * across
        wrist = hangs + holds[:, None] * (parcel + mirror * 0.17 * across - hangs)
        elbow_out = (mirror * 12 * DEG * holds)[:, None]
        axis = across + elbow_out * np.array([0.0, 1.0, 0.0])
        upper, fore = Limb(length["upperarm"], length["forearm"], -1).follow(shoulder, wrist, axis)
        pronation = (62 * holds + moving * (35 * (1 - holds) + wander(rng, time, 4.0))) * DEG
        fore = fore * turn("y", mirror * pronation)
        rotations[f"{side}_upperarm"], rotations[f"{side}_forearm"] = upper, fore
        bend = moving * (8 * holds + wander(rng, time, 4.0)) * DEG
        side_bend = mirror * moving * (-6 * holds + wander(rng, time, 3.0)) * DEG
        rotations[f"{side}_hand"] = fore * turn("z", bend) * turn("x", side_bend)


def _arm_swing(time: np.ndarray, walker: Walker) -> np.ndarray:
    """How far the right wrist swings ahead, m: against the right foot."""
    swing = np.zeros_like(time)
    for step in walker.steps:
        swing += (-0.12 if step.side == "r" else 0.12) * bump(time, step.lift - 0.1, step.land + 0.3)
    return swing


# ---- how people stand ----

# SD of a segment's rotation in a pose that a person is asked to hold: tilts about X and Z, and heading (Y).
# Leg and trunk about Z: Woodhull et al. 1985, doi:10.1007/BF00426309, abstract: in 15 people who stood the
# knee was 3.8 cm (SD 2.0) ahead of the ankle, on 0.43 m of shank. Foot about X: Sobel et al. 1999, adults'
# heels are everted by 6.07° (SD 2.7) as they stand (so cited in podiapaedia.org); about Z the floor holds it.
# What no paper was found for is common practice, as in `bodyfit.weights`; so is the factor for arms, head,
# hands and feet.
SAGITTAL, HEEL, TILT, HEADING, LOOSE = math.atan(0.02 / 0.43), 2.7 * DEG, 3 * DEG, 5 * DEG, 2.0
LEG = ("thigh", "calf", "hindfoot")
MOST_DRAWS = 1000  # none came near it


def as_people_stand(rng: np.random.Generator, poses: PoseSequence, leaves: Leaves) -> PoseSequence:
    """The motion from a start that is off the neutral pose, until the wearer sets off.

    Parameters
    ----------
    rng : each segment's error is drawn from it, parents first; no joint beyond its published range
    poses : starts still and neutral, facing +X
    leaves : when the errors go

    Returns
    -------
    PoseSequence; toes and heels stay on the floor
    """
    model, off = poses.model, {}
    for segment, joint in [(model.root, None), *((j.child, j) for j in model.joints.values())]:
        for _ in range(MOST_DRAWS):
            off[segment] = Rotation.from_rotvec(standing_sd(segment) * rng.standard_normal(3))
            if joint is None or in_range(joint, off[joint.parent], off[joint.child]):
                break
        else:
            raise RuntimeError(f"{segment}: no pose within the range of its joint; widen the range")
    rotations = {}
    for segment, rotation in poses.rotations.items():
        left = 1 - rise(poses.time, *leaves.of(segment))
        rotations[segment] = rotation * Rotation.from_rotvec(left[:, None] * off[segment].as_rotvec())
    return PoseSequence(poses.time, rotations, model, poses.root_position)


def standing_sd(segment: str) -> np.ndarray:
    """SD of a segment's rotation about X, Y and Z, (3,) rad."""
    if segment.endswith("foot"):
        return np.array([HEEL, LOOSE * HEADING, 0.0])
    if segment.endswith(LOOSELY_HELD):
        return LOOSE * np.array([TILT, HEADING, TILT])
    return np.array([TILT, HEADING, SAGITTAL])


def in_range(joint: Joint, parent: Rotation, child: Rotation) -> bool:
    """Whether no angle of a joint is beyond its range."""
    angles = joint_angles(joint, (parent.inv() * child).as_matrix())
    return all(low <= angles[name] <= high for name, (low, high) in joint.range.items())


@dataclass(frozen=True)
class Leaves:
    """When a wearer leaves the still pose, s: from, to; each leg as its foot first swings, and the rest."""

    rest: tuple[float, float]
    right: tuple[float, float] = (0.0, 0.0)
    left: tuple[float, float] = (0.0, 0.0)

    @classmethod
    def by_steps(cls, rest: tuple[float, float], start: float, swing: float) -> Leaves:
        """With the first two of a walker's steps, right foot first."""
        second = start + 1.25 * swing
        return cls(rest, (start, start + swing), (second, second + swing))

    def of(self, segment: str) -> tuple[float, float]:
        """Of one segment."""
        if segment.endswith(LEG):
            return self.right if segment.startswith("r_") else self.left
        return self.rest


# ---- what is worn, and the files ----


@dataclass(frozen=True)
class Demo:
    """All that one demo capture needs besides its motion.

    `worn` maps unit names to segments; `kind` is the kind of table; `story` opens its README.
    """

    title: str
    script: Callable[[np.random.Generator], PoseSequence]
    model: str
    person: Person
    place: Place
    field: MagneticField
    worn: dict[str, str]
    frequency: float
    kind: str
    seconds: float
    still: tuple[float, float]
    leaves: Leaves
    seed: int
    story: str


def stair_iron() -> tuple[Dipole, ...]:
    """Both stringers of the staircase and the landing, magnetised along their length."""
    rng = np.random.default_rng(7)
    iron = []
    for share in np.linspace(0, 1, 7):
        x, y = STAIR_START + share * (RISERS - 1) * GOING, share * RISERS * RISER - 0.15
        for z in (-0.5, 0.5):
            moment = rng.uniform(6, 16) * np.array([0.8, 0.55, 0.0]) + rng.normal(0, 3, 3)
            iron.append(Dipole((float(x), float(y), z), tuple(moment.tolist())))
    iron.append(Dipole((LANDING, RISERS * RISER - 0.25, 0.2), (-14.0, 6.0, 9.0)))
    return tuple(iron)


def shelf_iron() -> tuple[Dipole, ...]:
    """A steel shelf behind, and a radiator."""
    shelf = [Dipole((-1.95, y, z), (4.0 - 3 * y, 9.0, 5 * z)) for y in (0.3, 1.0, 1.7) for z in (-0.6, 0.6)]
    return (*shelf, Dipole((0.9, 0.3, 0.9), (0.0, -7.0, 5.0)))


TRUNK_AND_LEGS = ("pelvis", *(f"{side}_{part}" for part in ("thigh", "calf", "hindfoot") for side in "lr"))
UPPER_BODY = (
    "thorax",
    "skull",
    *(f"{side}_{part}" for part in ("upperarm", "forearm", "hand") for side in "lr"),
)

DEMOS = {
    "cello_arm": Demo(
        "Right arm of a cellist, bowing",
        cello_arm,
        "right_arm",
        CELLIST,
        Place(48.2, 16.4, 180.0),
        MagneticField(48.6e-6, 64.4 * DEG, 0.9, (Dipole((0.7, 0.0, 0.5), (5.0, 3.0, -4.0)),)),
        {"breastbone": "thorax", "upper_arm": "r_upperarm", "forearm": "r_forearm", "hand": "r_hand"},
        100.0,
        ".csv",
        60.0,
        (0.5, 3.0),
        Leaves((4.0, 6.5)),
        11,
        "A cellist in a rehearsal room, right arm only. She lets the arm hang for three seconds, lifts the "
        "bow and plays: strokes of a third of a second to almost one and a half, over all four strings, the "
        "elbow higher for the lower ones. She puts the arm down at the end.",
    ),
    "steel_stairs": Demo(
        "Up and down a steel staircase",
        steel_stairs,
        "lower_body",
        CLIMBER,
        Place(59.3, 18.1, 25.0),
        MagneticField(51.8e-6, 73.1 * DEG, -0.6, stair_iron()),
        {f"{segment}_unit": segment for segment in TRUNK_AND_LEGS},
        80.0,
        ".csv.gz",
        90.0,
        (0.5, 3.5),
        Leaves.by_steps((4.0, 5.0), 4.6, 0.47),
        12,
        "A fitter on the way to a machine: stands still, walks to a steel staircase, climbs its twelve "
        "steps, turns on the landing, comes down, walks back, turns; twice. The steel bends the magnetic "
        "field around the stairs, so a compass heading is wrong there by tens of degrees.",
    ),
    "library_bench": Demo(
        "Up a stair to a bench, and back",
        library_bench,
        "lower_body",
        READER,
        Place(52.4, 4.9, 2.0),
        MagneticField(49.4e-6, 67.4 * DEG, 0.4, (Dipole((LIBRARY_STAIRS, -0.3, 0.9), (6.0, 4.0, -5.0)),)),
        {f"{segment}_unit": segment for segment in TRUNK_AND_LEGS},
        60.0,
        ".csv.gz",
        60.0,
        (0.5, 3.5),
        Leaves.by_steps((4.0, 5.0), 4.6, 0.47),
        14,
        "A reader in a library: stands still, walks to a stair of seven steps, climbs it, turns round in "
        "front of a bench and sits down for a while; gets up and sits down again three times, gets up a "
        "fourth time, goes down the stair and walks back.",
    ),
    "parcel_lift": Demo(
        "Lifting parcels onto a shelf",
        parcel_lift,
        "whole_body",
        PORTER,
        Place(-33.9, 151.2, 40.0),
        MagneticField(57.2e-6, -64.3 * DEG, 2.1, shelf_iron()),
        {f"{segment}_unit": segment for segment in (*TRUNK_AND_LEGS, *UPPER_BODY)},
        60.0,
        ".csv.gz",
        60.0,
        (0.5, 3.0),
        Leaves.by_steps((3.95, 4.95), PORTER_SETS_OFF, PORTER_SWING),
        13,
        "A porter in a post room south of the equator: stands still, sets his feet, then four times picks a "
        "parcel from the floor, turns round with it, carries it over and puts it on a steel shelf, and comes "
        "back.",
    ),
}
USUAL = SimulationSettings()
UNITS = SimulationSettings(
    # √2 above the data sheet: the captures were drawn when a density was taken for a two-sided one
    gyroscope_noise_density=math.sqrt(2) * USUAL.gyroscope_noise_density,
    accelerometer_noise_density=math.sqrt(2) * USUAL.accelerometer_noise_density,
    clock_offset_sd=1e-3,
    clock_rate_sd=10e-6,
    dropped_share=0.003,
    mounting_spread=25 * DEG,
    state_mounting=False,
)
STATED = {"breastbone": "The breastbone unit's mounting was measured on its harness and is stated. "}
README = """# {title}

{story}

- Who: nobody; an invented person, {stature} m, {mass} kg, {sex}.
- What: {count} units, {seconds:.0f} s at {frequency:g} Hz. Accelerometer in m/s², gyroscope in °/s,
  magnetometer in µT.
- Worn: {worn}.
{body}
{pose}
- Errors: gyroscope bias about 0.3 °/s, noise, scale and axes as of a wearable-class chip, clocks apart by
  about 1 ms, 0.3 % of the samples lost in runs of five, and soft tissue: 3° and 5 mm per g of acceleration
  across the segment (RMS over the units: {soft:.1f}°).
- Truth: `truth/segments.csv.gz` and `truth/joints.csv.gz` (columns as `bodyfit fit` writes them, on true
  time), `truth/truth.json` (every drawn error, joint centres, iron near by).

Made by `demo_captures/make_demo_captures.py` (seed {seed}): joint motion scripted with smooth random
variation, units simulated by `bodyfit`. The motion looks right; it is no measurement of how people move. A
foot is one rigid segment, so toes dip below the floor at push-off.

Licence: that of the project. Not for medical use.
"""


def drawn(demo: Demo) -> Simulated:
    """A demo's capture and its truth, all that is random drawn from the demo's seed."""
    rng = np.random.default_rng(demo.seed)
    poses = as_people_stand(rng, demo.script(rng), demo.leaves)
    keep = poses.time <= demo.seconds + 2 / demo.frequency
    poses = PoseSequence(
        poses.time[keep],
        {segment: rotation[keep] for segment, rotation in poses.rotations.items()},
        poses.model,
        poses.root_position[keep],
    )
    simulated = simulate(
        poses,
        {unit: WornUnit(segment) for unit, segment in demo.worn.items()},
        replace(UNITS, sampling_frequency=demo.frequency, field=demo.field),
        demo.seed,
        title=demo.title,
        person=demo.person,
        place=demo.place,
        calibrations=(Calibration("still", *demo.still),),
    )
    given = {
        name: replace(unit, mounting=simulated.units[name].mounting.as_quat()) if name in STATED else unit
        for name, unit in simulated.capture.units.items()
    }
    return replace(simulated, capture=replace(simulated.capture, units=given))


def make(name: str) -> None:
    """Writes one demo capture."""
    demo, folder = DEMOS[name], HERE / name
    simulated = drawn(demo)
    write_truth(simulated, folder / "truth")
    for unit in simulated.capture.units.values():
        write_table(folder / f"{unit.name}{demo.kind}", columns(unit), 5)
    write_text(folder / "setup.toml", setup(simulated, demo))
    write_text(folder / "README.md", readme(simulated, demo))


def columns(unit: Unit) -> dict[str, np.ndarray]:
    """Samples in the units that people read."""
    samples = np.hstack([unit.accelerometer, np.degrees(unit.gyroscope), 1e6 * unit.magnetometer])
    names = [f"{sensor}{axis}" for sensor in "agm" for axis in "xyz"]
    return {"time_s": np.round(unit.time, 5), **dict(zip(names, samples.T, strict=True))}


def setup(simulated: Simulated, demo: Demo) -> str:
    """setup.toml."""
    sensors = {
        "accelerometer": {"columns": ["ax", "ay", "az"], "unit": "m/s^2", "full_scale": 156.9},
        "gyroscope": {"columns": ["gx", "gy", "gz"], "unit": "deg/s", "full_scale": 2000.0},
        "magnetometer": {"columns": ["mx", "my", "mz"], "unit": "uT"},
    }
    place = {key: getattr(demo.place, key) for key in ("latitude_deg", "longitude_deg", "height_m")}
    person = {key: getattr(demo.person, key) for key in ("stature_m", "mass_kg", "sex")}
    source = "invented and simulated, see README.md; the truth is in truth/"
    parts = [toml_section("", {"title": demo.title, "source": source, "place": place})]
    parts += [toml_section("[person]", person), toml_section("[body]", {"model": demo.model})]
    for unit in simulated.capture.units.values():
        where = {"segment": unit.segment, "table": f"{unit.name}{demo.kind}", "time": "time_s"}
        if unit.mounting is not None:
            where["mounting"] = [round(q, 4) for q in unit.mounting.tolist()]
        parts.append(toml_section(f"[units.{unit.name}]", where | sensors))
    still = {"kind": "still", "start_s": demo.still[0], "end_s": demo.still[1]}
    return "\n".join([*parts, toml_section("[[calibration]]", still)])


def readme(simulated: Simulated, demo: Demo) -> str:
    """README.md."""
    soft = np.sqrt(np.mean([unit.soft_turn_rms**2 for unit in simulated.units.values()])) / DEG
    stated = "".join(STATED.get(unit, "") for unit in demo.worn)
    body = (
        f"- Body model: `{demo.model}`. {stated}How each {'other ' if stated else ''}unit sits on its "
        "segment is not stated (it is turned by up to 25° against the segment's axes); a still interval in "
        f"the neutral pose, {demo.still[0]:g} to {demo.still[1]:g} s, is."
    )
    worst, most = askew(simulated, demo)
    pose = (
        "- Pose: held as people do, not to the degree: each segment is off the neutral pose by an error "
        f"drawn once ({most:.0f}° at most, {worst}), until it first moves."
    )
    return README.format(
        title=demo.title,
        story=textwrap.fill(f"**Invented.** {demo.story}", 105),
        stature=demo.person.stature_m,
        mass=demo.person.mass_kg,
        sex=demo.person.sex,
        count=len(demo.worn),
        seconds=demo.seconds,
        frequency=demo.frequency,
        worn=", ".join(demo.worn.values()),
        body=textwrap.fill(body, 105, subsequent_indent="  "),
        pose=textwrap.fill(pose, 105, subsequent_indent="  "),
        soft=soft,
        seed=demo.seed,
    )


def askew(simulated: Simulated, demo: Demo) -> tuple[str, float]:
    """The segment farthest off the neutral pose in the middle of the still interval, and by how many °."""
    at = int(np.searchsorted(simulated.truth.time, np.mean(demo.still)))
    turns = {name: float(R[at].magnitude()) / DEG for name, R in simulated.truth.rotations.items()}
    return max(turns.items(), key=lambda turn: turn[1])


if __name__ == "__main__":
    for wanted in sys.argv[1:] or DEMOS:
        make(wanted)
        print(f"{HERE / wanted}: written")
