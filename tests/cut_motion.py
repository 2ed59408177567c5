"""Captures as people make them: units strapped on anyhow, a pose, a pause, then movement in short pieces."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.spatial.transform import Rotation, Slerp

import bodyfit
from bodyfit.body.motion.joint_angles import joint_angles
from bodyfit.body.motion.poses import PoseSequence, held_pose
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.recording.capture import Calibration, Unit
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import Simulated, simulate
from bodyfit.simulation.unit_path import WornUnit, usual_place

POSE_S = (1.5, 3.0)  # s, how long the pose is held
PIECE_S, PAUSE_S = (0.7, 3.5), (0.4, 1.2)  # s, of each piece of movement, of each pause
PIECES = (4, 12)  # how many
SHIFT = 0.03  # m, of a unit from where it is usually worn
POSE_SD_DEG = np.array([3.0, 5.0, 3.0])  # about X, Y, Z, as people hold a pose
LOOSE = ("upperarm", "forearm", "hand", "skull", "hindfoot")  # held twice as roughly
TURN_S = 1.5  # s between what is joined: the body gets from one to the other, and nobody records
EDGE_S = 0.15  # s at both ends of what is joined that nobody records: speed jumps there, and a filter rings


@dataclass(frozen=True)
class Hardness:
    """How much worse than usual: a factor on soft tissue and on errors of the pose."""

    tissue: float = 1.0
    pose: float = 1.0


@dataclass(frozen=True, eq=False)
class Worn:
    """A capture with its truth: `made.truth` at all times, in pieces (start, end) s without the pose."""

    capture: bodyfit.Capture
    made: Simulated
    pieces: Sequence[tuple[float, float]]


def clips_of(folder: Path) -> dict[str, list[Path]]:
    """Subject -> its recorded motions."""
    out: dict[str, list[Path]] = {}
    for path in sorted(folder.glob("*.parquet")):
        out.setdefault(path.stem.split("_")[0], []).append(path)
    return out


def worn_anyhow(
    folder: Path,
    seed: int,
    segments: Collection[str] | None = None,
    hardness: Hardness | None = None,
    cut: bool = True,
) -> Worn:
    """A capture of one subject's motions, drawn by a seed.

    Parameters
    ----------
    folder : of recorded motions
    seed : draws the subject, the pieces, how units sit, sensors and tissue
    segments : that carry a unit; None: all
    hardness : worse than usual
    cut : pauses between pose and pieces are not recorded; False: they are
    """
    hardness, rng = hardness or Hardness(), np.random.default_rng([seed, 12])
    clips = clips_of(folder)
    subject = sorted(clips)[rng.integers(len(clips))]
    motion, pieces, pose_end = _joined([read_motion(p) for p in clips[subject]], rng, hardness)
    names = [s for s in motion.model.segments if segments is None or s in segments]
    usual = SimulationSettings()
    settings = dataclasses.replace(
        usual,
        soft_tissue_deg_per_g=hardness.tissue * usual.soft_tissue_deg_per_g,
        soft_tissue_mm_per_g=hardness.tissue * usual.soft_tissue_mm_per_g,
        state_mounting=False,
    )
    worn = {f"{s}_unit": _worn(motion, s, rng) for s in names}
    made = simulate(
        motion,
        worn,
        settings,
        seed,
        model=read_model("whole_body"),
        calibrations=(Calibration("still", 0.1, pose_end - 0.1, pose="standing"),),
    )
    kept = [(0.0, pose_end), *pieces]
    units = {n: _within(u, kept) if cut else u for n, u in made.capture.units.items()}
    return Worn(dataclasses.replace(made.capture, units=units), made, pieces)


def _worn(motion: PoseSequence, segment: str, rng: np.random.Generator) -> WornUnit:
    """A unit turned anyhow, some centimetres from where it is usually worn."""
    off = rng.standard_normal(3)
    place = usual_place(motion.model, segment) + SHIFT * off / np.linalg.norm(off)
    return WornUnit(segment, place, Rotation.random(random_state=rng).as_quat())


def _joined(
    motions: list[PoseSequence], rng: np.random.Generator, hardness: Hardness
) -> tuple[PoseSequence, list[tuple[float, float]], float]:
    """Pose and pieces on one time line; where the pieces lie, and where the pose ends."""
    model, held = motions[0].model, rng.uniform(*POSE_S)
    step = float(np.median(np.diff(motions[0].time)))
    parts = [_posed(model, motions[0], held + EDGE_S, step, rng, hardness)]
    starts, pieces, clock = [0.0], [], held + EDGE_S + TURN_S
    count, order = int(rng.integers(PIECES[0], PIECES[1] + 1)), rng.permutation(len(motions))
    for turn in range(count):  # clips of a subject again and again until there are enough pieces
        if len(pieces) >= count:
            break
        clip = motions[order[turn % len(order)]]
        own = _pieces(clip.time[-1] - clip.time[0] - 2 * EDGE_S, rng, count - len(pieces))
        pieces += [(clock + EDGE_S + a, clock + EDGE_S + b) for a, b in own]
        parts.append(clip)
        starts.append(clock)
        clock += clip.time[-1] - clip.time[0] + TURN_S
    time = np.concatenate([s + p.time - p.time[0] for s, p in zip(starts, parts, strict=True)])
    root = np.concatenate([p.root_position for p in parts if p.root_position is not None])
    even = np.arange(0.0, time[-1], step)
    rotations = {}
    for name in model.segments:
        R = Rotation.concatenate([p.rotations[name] for p in parts])
        rotations[name] = Slerp(time, R)(even)
    root = np.stack([np.interp(even, time, root[:, i]) for i in range(3)], -1)
    return PoseSequence(even, rotations, model, root), pieces, held


def _pieces(length: float, rng: np.random.Generator, most: int) -> list[tuple[float, float]]:
    """Pieces of one clip, from its start; a clip shorter than two pieces stays whole."""
    out, at = [], 0.0
    while at < length - PIECE_S[0] and len(out) < most:
        end = min(at + rng.uniform(*PIECE_S), length)
        out.append((at, end))
        at = end + rng.uniform(*PAUSE_S)
    return out or [(0.0, length)]


def _posed(
    model: bodyfit.BodyModel,
    like: PoseSequence,
    seconds: float,
    step: float,
    rng: np.random.Generator,
    hardness: Hardness,
) -> PoseSequence:
    """Standing as people do when asked to."""
    time = np.arange(0.0, seconds + step, step)
    facing, rotations = Rotation.from_rotvec([0.0, rng.uniform(-np.pi, np.pi), 0.0]), {}
    for name, R in held_pose(read_model("whole_body"), "standing").items():
        rough = hardness.pose * (2.0 if name.endswith(LOOSE) else 1.0)
        off = Rotation.from_rotvec(np.radians(rough * POSE_SD_DEG) * rng.standard_normal(3))
        one = facing * off * Rotation.from_matrix(R)
        rotations[name] = Rotation.concatenate([one] * len(time))
    assert like.root_position is not None
    return PoseSequence(time, rotations, model, np.repeat(like.root_position[:1], len(time), 0))


def _within(unit: Unit, stretches: Collection[tuple[float, float]]) -> Unit:
    """What was recorded in these stretches of time."""
    kept = np.any([(unit.time >= a) & (unit.time <= b) for a, b in stretches], 0)
    return dataclasses.replace(
        unit, time=unit.time[kept], **{s: getattr(unit, s)[kept] for s in unit.sensors}
    )


def facings(worn: Worn, found: bodyfit.Fit) -> pd.DataFrame:
    """One row a unit: how far its mounting is off about the segment's Y, and its deviation there, degrees."""
    rows = []
    for name, (M, covariance) in found.mounting.items():
        E = M @ worn.made.units[name].mounting.as_matrix().T
        off = np.degrees(np.arctan2(E[0, 2] - E[2, 0], E[0, 0] + E[2, 2]))
        segment = worn.made.units[name].segment
        rows.append((segment, abs(float(off)), float(np.degrees(np.sqrt(covariance[1, 1])))))
    return pd.DataFrame(rows, columns=["segment", "off", "sd"])


def angles(worn: Worn, found: bodyfit.Fit) -> pd.DataFrame:
    """One row an angle between worn units, over all pieces.

    Root mean square error and deviation, degrees, and the share of samples in their 95 % band.
    """
    truth, model, rows = worn.made.truth, worn.capture.model, []
    moving = np.any([(found.time > a) & (found.time < b) for a, b in worn.pieces], 0)
    time, on = found.time[moving], {unit.segment for unit in worn.capture.units.values()}
    for name, joint in model.joints.items():
        if found.joint_angle_sd is None or not {joint.parent, joint.child} <= on:
            continue
        relative = truth.rotations[joint.parent].inv() * truth.rotations[joint.child]
        true = joint_angles(joint, Slerp(truth.time, relative)(time).as_matrix())
        for angle in joint.angles:
            off = (found.joint_angles[name][angle][moving] - true[angle] + np.pi) % (2 * np.pi) - np.pi
            sd = found.joint_angle_sd[name][angle][moving]
            inside = float(np.mean(np.abs(off) <= 1.96 * sd))
            rows.append((name, angle, *np.degrees([_rms(off), _rms(sd)]), inside))
    return pd.DataFrame(rows, columns=["joint", "angle", "error", "sd", "inside"])


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values))))
