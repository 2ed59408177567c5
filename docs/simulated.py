"""Simulated captures, whose truth is known: recorded human motion, and the demo captures."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from recordings import DATA, TWO
from scipy.spatial.transform import Rotation
from scores import Pair, rms, rotation_rms

import bodyfit
from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.chain_from_motion import person_from_legs
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.files.motion.pose_tables import read_segments
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import Simulated, simulate
from bodyfit.weights import Weights

DEMOS = Path(__file__).resolve().parents[1] / "demo_captures"
SEEDS = (0, 1)
SOFTNESS = (1.0, 3.0)  # degrees per g across the segment
# units as people wear them: gravity pulls at the tissue, too, and stated mountings are off
AS_WORN = {"soft_tissue_sags": True, "stated_mounting_sd": Weights().mounting}


@dataclass(frozen=True)
class Trial:
    """One motion, one seed, one softness: joint -> error in degrees.

    Attributes
    ----------
    free, scaled : 15 free ball joints with nothing else known; the whole-body model scaled by leg length
    free_worn, scaled_worn : the same with units as people wear them
    soft_turn : degrees, of a unit against its bone, root mean square over the units
    soft_pair : joint -> degrees, what the soft tissue alone turns its two units against each other
    """

    motion: str
    seconds: float
    soft_turn: float
    soft_pair: Mapping[str, float]
    free: Mapping[str, float]
    scaled: Mapping[str, float]
    free_worn: Mapping[str, float]
    scaled_worn: Mapping[str, float]


def motion(name: str) -> Path:
    """File of a motion."""
    return DATA / "motions_isb" / f"{name}.parquet"


def trials(softness: float) -> list[Trial]:
    """All motions and seeds at one softness of the tissue."""
    return [
        trial(path, seed, softness) for path in sorted(motion("x").parent.glob("*.parquet")) for seed in SEEDS
    ]


def trial(path: Path, seed: int, softness: float) -> Trial:
    """Fifteen units simulated on one motion, and fitted without magnetometer."""
    made = simulated(path, seed, softness)
    worn = simulated(path, seed, softness, as_worn=True)
    turns = np.degrees([unit.soft_turn_rms for unit in made.units.values()])
    time, errors = made.truth.time, [*free_and_scaled(made), *free_and_scaled(worn)]
    return Trial(path.stem, time[-1] - time[0], rms(turns), soft_pairs(made), *errors)


def free_and_scaled(made: Simulated) -> list[dict[str, float]]:
    """Joint -> error on the body of which only the tree is known, and on the one scaled by leg length."""
    body = made.truth.model
    known = dataclasses.replace(
        made.capture, model=bodyfit.read_model("whole_body"), person=person_from_legs(body)
    )
    fits = [bodyfit.fit(c, sensors=TWO) for c in (made.capture, known)]
    return [joint_errors(fit, made.truth.time, made.truth.rotations, body) for fit in fits]


@cache
def simulated(path: Path, seed: int, softness: float, as_worn: bool = False) -> Simulated:
    """The capture of fifteen units during one motion, on a body of which only the tree is known."""
    poses = read_motion(path)
    settings = SimulationSettings(soft_tissue_deg_per_g=softness, **(AS_WORN if as_worn else {}))
    return simulate(poses, None, settings, seed, model=free_body(poses.model))


def free_errors(path: Path, weights: Weights | None) -> dict[str, float]:
    """Joint -> error on the free body, with other weights, first seed, softest tissue."""
    made = simulated(path, SEEDS[0], max(SOFTNESS))
    fit = bodyfit.fit(made.capture, sensors=TWO, weights=weights)
    return joint_errors(fit, made.truth.time, made.truth.rotations, made.truth.model)


def free_body(model: BodyModel) -> BodyModel:
    """The same tree of segments, tied by ball joints of which nothing else is known."""
    segments = {name: dataclasses.replace(s, length=None) for name, s in model.segments.items()}
    unknown = {"centre_in_parent": None, "centre_in_child": None, "range": {}, "stiffness": {}}
    joints = {name: dataclasses.replace(j, type="ball", **unknown) for name, j in model.joints.items()}
    return BodyModel("fifteen_free_segments", segments, joints)


def joint_errors(
    fit: bodyfit.Fit, time: np.ndarray, true: Mapping[str, Rotation], model: BodyModel
) -> dict[str, float]:
    """Joint -> root mean square error of the child's rotation against its parent's, degrees."""
    return {p.name: rotation_rms(*pair_of(fit, time, true, p).matched()) for p in model.joints.values()}


def pair_of(fit: bodyfit.Fit, time: np.ndarray, true: Mapping[str, Rotation], joint) -> Pair:
    """Found and true rotation of a joint."""
    found = fit.rotations[joint.parent].inv() * fit.rotations[joint.child]
    return Pair(fit.time, found, time, true[joint.parent].inv() * true[joint.child])


def soft_pairs(made: Simulated) -> dict[str, float]:
    """Joint -> degrees by which its two units turn against each other beyond what the bones do."""
    turn = {str(unit.segment): Rotation.from_rotvec(unit.soft_turn) for unit in made.units.values()}
    out = {}
    for joint in made.truth.model.joints.values():
        bones = made.truth.rotations[joint.parent].inv() * made.truth.rotations[joint.child]
        out[joint.name] = rotation_rms(turn[joint.parent].inv() * bones * turn[joint.child], bones)
    return out


def demo_pairs(name: str, **options) -> dict[str, Pair]:
    """Joint -> found and true rotation in a demo capture."""
    fit = bodyfit.fit(bodyfit.read_capture(DEMOS / name), **options)
    true = read_segments(DEMOS / name / "truth" / "segments.csv.gz")
    joints = fit.poses.model.joints.values()
    return {joint.name: pair_of(fit, true.time, true.rotations, joint) for joint in joints}
