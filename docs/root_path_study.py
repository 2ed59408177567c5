"""Measures the root path of a fitted body on simulated walks: `python docs/root_path_study.py [stairs …]`.

Seven units on pelvis and legs, soft tissue of 3°/g and 5 mm/g. Removed before comparing: where the path
starts and its heading (no reference tells them); nothing else.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from simulated import motion
from walking import walk

import bodyfit
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.motion.root_trajectory import soles
from bodyfit.core.rotations import UP
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.movement.strides.foot_motion import SIDES, motion_of_body
from bodyfit.movement.strides.swings import swings
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import Simulated, simulate

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "demo_captures"))
import make_demo_captures as demos

WORN = ("pelvis", "l_thigh", "r_thigh", "l_calf", "r_calf", "l_hindfoot", "r_hindfoot")
SETTINGS = SimulationSettings(soft_tissue_deg_per_g=3.0, soft_tissue_mm_per_g=5.0)
WALKS = (
    "02_01",
    "02_02",
    "06_04",
    "06_09",
    "49_01",
)  # recordings of motions_isb with a whole stride of walking
SEEDS = (0, 1, 2)
BAND = 2.45  # standard deviations of an axis within which 95 % of errors in a plane lie (χ² of two)
WALK_S = 35.0  # s of each looped walk


def stairs() -> Iterator[tuple[str, Simulated]]:
    """The stairs demo's script, drawn anew."""
    for seed in SEEDS:
        poses = demos.steel_stairs(np.random.default_rng(100 + seed))
        yield f"stairs, draw {seed}", simulate(poses, WORN, SETTINGS, 100 + seed)


def loops() -> Iterator[tuple[str, Simulated]]:
    """One recorded stride over and over, on a winding path, each at its own pace."""
    for name in WALKS:
        for seed in SEEDS:
            poses = walk(read_motion(motion(name)), WALK_S, np.random.default_rng(seed))
            yield f"{name}, draw {seed}", simulate(poses, WORN, SETTINGS, seed)


def compared(made: Simulated) -> str:
    """Errors of place, length and height, instants within 95 % bands, and slip of the true feet."""
    found = bodyfit.fit(made.capture)
    told = found.summary.root_path
    assert told is not None and found.poses.root_position is not None and made.truth.root_position is not None
    true = np.stack([np.interp(found.time, made.truth.time, x) for x in made.truth.root_position.T], 1)
    a, b = true - true[0], found.poses.root_position - found.poses.root_position[0]
    level = a[:, 0] + 1j * a[:, 2], b[:, 0] + 1j * b[:, 2]
    turn = np.vdot(level[1], level[0])
    off = np.abs(level[1] * turn / abs(turn) - level[0])
    way = float(np.abs(np.diff(level[0])).sum())
    rms, height = np.sqrt(np.mean(off**2)), np.sqrt(np.mean((b - a)[:, 1] ** 2))
    sd = np.array(told.horizontal_sd_m, float)[1:]
    inside = np.mean(np.interp(told.time_s[1:], found.time, off) < BAND * sd)
    return (
        f"{way:.0f} m, place {100 * rms / way:.2f} % RMS, {100 * off[-1] / way:.2f} % at the end, "
        f"length {100 * (np.vdot(level[1], level[1]).real / abs(turn) - 1):+.1f} %, "
        f"{100 * inside:.0f} % of instants in their bands, "
        f"height {height:.3f} m RMS, standing feet slip {slip(made.truth):.2f} m/s; "
        f"{stride_lengths(found, made.truth)}"
    )


def stride_lengths(found: bodyfit.Fit, truth: PoseSequence) -> str:
    """Lengths and rises of strides of the fitted body against the true foot at the same instants."""
    told = found.summary.root_path
    assert told is not None and told.stride_length_sd_m is not None and truth.positions is not None
    ways, true = [], []
    for foot in SIDES.keys() & set(found.poses.rotations):
        motion = motion_of_body(found.poses, foot)
        swung, calm = swings(motion), motion.stances[:, 1]
        start, end = calm[swung.before], calm[swung.after]
        own = motion.place * [1, 0, 1] + motion.ground[:, None] * UP
        ways.append(own[end] - own[start])
        place = np.stack([np.interp(motion.time, truth.time, x) for x in truth.positions[foot].T], 1)
        true.append(place[end] - place[start])
    way, right = np.concatenate(ways), np.concatenate(true)
    off = np.hypot(way[:, 0], way[:, 2]) - np.hypot(right[:, 0], right[:, 2])
    inside = np.mean(np.abs(off) < 1.96 * told.stride_length_sd_m)
    return (
        f"{len(off)} strides, {100 * off.mean():+.1f} ± {100 * off.std():.1f} cm, {100 * inside:.0f} % in "
        f"their bands, rise {100 * np.sqrt(np.mean((way - right)[:, 1] ** 2)):.1f} cm RMS"
    )


def slip(poses: PoseSequence) -> float:
    """m/s, median over time of the slowest point of both soles: what stands of the true feet still moves."""
    points = np.gradient(soles(poses), poses.time, axis=0)
    return float(np.median(np.linalg.norm(points, axis=2).min(1)))


PARTS: dict[str, Callable[[], Iterator[tuple[str, Simulated]]]] = {"stairs": stairs, "loops": loops}

if __name__ == "__main__":
    for part in sys.argv[1:] or PARTS:
        for name, made in PARTS[part]():
            print(f"{name}: {compared(made)}")
