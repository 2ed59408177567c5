"""Faults put into a motion on purpose, each with when and where it was put."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from bodyfit.body.motion.joint_angles import rotation_from_angles
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint
from bodyfit.core.findings import Finding

BLEND_S = 0.3  # s in which a fault comes and goes
LASTS_S = 1.0  # s
NEAR_S = 0.15  # s by which a finding may miss the fault


@dataclass(frozen=True, eq=False)
class Fault:
    """A motion with one fault.

    Attributes
    ----------
    poses : with the fault
    kinds : of finding that tell it
    places : joints or segments, one of which a finding must name
    start, end : s, when it is there
    """

    poses: PoseSequence
    kinds: tuple[str, ...]
    places: tuple[str, ...]
    start: float
    end: float


def tells(finding: Finding, fault: Fault) -> bool:
    """Whether a finding is of the fault's kind, names its place and meets its time."""
    named = {*finding.joints, *finding.segments}
    start = finding.start if finding.start is not None else -np.inf
    end = finding.end if finding.end is not None else np.inf
    meets = start <= fault.end + NEAR_S and end >= fault.start - NEAR_S
    return (
        finding.kind in fault.kinds and finding.severity != "note" and bool(named & {*fault.places}) and meets
    )


def with_rotations(poses: PoseSequence, **rotations: Rotation) -> PoseSequence:
    """The motion with other rotations of some segments."""
    return dataclasses.replace(poses, rotations={**poses.rotations, **rotations})


def _window(time: np.ndarray, start: float) -> np.ndarray:
    """(T,) 0 to 1 and back: there from `start` for a second, coming and going smoothly."""
    rise = np.clip((time - start + BLEND_S) / BLEND_S, 0, 1)
    fall = np.clip((start + LASTS_S + BLEND_S - time) / BLEND_S, 0, 1)
    return 0.5 - 0.5 * np.cos(np.pi * rise * fall)


def _blended(a: Rotation, b: Rotation, share: np.ndarray) -> Rotation:
    return a * Rotation.from_rotvec(share[:, None] * (a.inv() * b).as_rotvec())


def _below(poses: PoseSequence, segment: str) -> list[str]:
    """A segment and all that it carries."""
    out = [segment]
    for joint in poses.model.joints.values():
        if joint.parent in out:
            out.append(joint.child)
    return out


def knee_bent_backwards(poses: PoseSequence, degrees: float = 20.0) -> Fault:
    """The right knee at −20° for a second, the foot with it."""
    start = _middle(poses)
    joint: Joint = poses.model.joints["r_knee"]
    share, R = _window(poses.time, start), poses.rotations
    angles = dict(poses.joint_angles["r_knee"])
    angles["flexion"] = (1 - share) * angles["flexion"] - share * np.radians(degrees)
    calf = R[joint.parent] * rotation_from_angles(joint, angles)
    turn = calf * R[joint.child].inv()
    faulty = with_rotations(poses, **{name: turn * R[name] for name in _below(poses, joint.child)})
    return Fault(faulty, ("joint-range",), ("r_knee",), start, start + LASTS_S)


def unit_slipped(poses: PoseSequence, segment: str = "r_thigh", axis=(0.0, 1.0, 0.0)) -> Fault:
    """A segment turned by 30° about one of its axes within 0.1 s, for good."""
    start = _middle(poses)
    share = 0.5 - 0.5 * np.cos(np.pi * np.clip((poses.time - start) / 0.1, 0, 1))
    turn = Rotation.from_rotvec(np.radians(30.0) * share[:, None] * np.asarray(axis))
    faulty = with_rotations(poses, **{segment: poses.rotations[segment] * turn})
    return Fault(faulty, ("unit-slip", "rotation-jump"), (segment,), start, start + 0.1)


def feet_swapped(poses: PoseSequence) -> Fault:
    """Each foot with the rotation of the other."""
    R = poses.rotations
    faulty = with_rotations(poses, l_hindfoot=R["r_hindfoot"], r_hindfoot=R["l_hindfoot"])
    ends = (float(poses.time[0]), float(poses.time[-1]))
    return Fault(faulty, ("sides-swapped",), ("l_talocrural", "r_talocrural"), *ends)


def gyroscope_clipped(poses: PoseSequence, segment: str | None = None) -> Fault:
    """A segment whose rate about its Z axis ends at 60 % of its largest, as its integral then shows."""
    limbs = [s for s in ("r_thigh", "r_calf", "r_forearm") if s in poses.rotations]
    segment = segment or max(limbs, key=lambda s: _fastest(poses, s))
    turns = (poses.rotations[segment][:-1].inv() * poses.rotations[segment][1:]).as_rotvec()
    top = 0.6 * np.abs(turns[:, 2]).max()
    clipped = np.abs(turns[:, 2]) > top
    turns[:, 2] = np.clip(turns[:, 2], -top, top)
    quats = [poses.rotations[segment][0]]
    for turn in Rotation.from_rotvec(turns):
        quats.append(quats[-1] * turn)
    faulty = with_rotations(poses, **{segment: Rotation.concatenate(quats)})
    when = poses.time[1:][clipped]
    return Fault(faulty, ("rate-plateau",), (segment,), float(when[0]), float(when[-1]))


def _fastest(poses: PoseSequence, segment: str) -> float:
    R = poses.rotations[segment]
    return float(np.abs((R[:-1].inv() * R[1:]).as_rotvec()[:, 2]).max())


def forearm_through_trunk(poses: PoseSequence) -> Fault:
    """The right upper arm along the trunk, its forearm through the trunk's lower end, for a second."""
    start, joints = _middle(poses), poses.model.joints
    share, thorax = _window(poses.time, start), poses.rotations["thorax"]
    elbow = np.add(joints["r_shoulder"].centre_in_parent, joints["r_elbow"].centre_in_parent)  # type: ignore
    inwards = thorax * Rotation.align_vectors([-elbow], [[0.0, -1.0, 0.0]])[0]
    faulty = with_rotations(
        poses,
        r_upperarm=_blended(poses.rotations["r_upperarm"], thorax, share),
        r_forearm=_blended(poses.rotations["r_forearm"], inwards, share),
        r_hand=_blended(poses.rotations["r_hand"], inwards, share),
    )
    return Fault(faulty, ("interpenetration",), ("r_forearm",), start, start + LASTS_S)


def root_jumped(poses: PoseSequence) -> Fault:
    """The whole body 2 m further from one frame to the next."""
    start = _middle(poses)
    root = np.zeros((len(poses.time), 3)) if poses.root_position is None else poses.root_position
    moved = root + np.outer(poses.time > start, [2.0, 0.0, 0.0])
    return Fault(
        dataclasses.replace(poses, root_position=moved), ("root-jump",), (poses.model.root,), start, start
    )


def _middle(poses: PoseSequence) -> float:
    return float(0.5 * (poses.time[0] + poses.time[-1]))


FAULTS: dict[str, Callable[[PoseSequence], Fault]] = {
    "knee bent backwards by 20°": knee_bent_backwards,
    "unit slipped by 30°": unit_slipped,
    "swapped feet": feet_swapped,
    "gyroscope clipped": gyroscope_clipped,
    "forearm through the trunk": forearm_through_trunk,
    "2 m jump of the root": root_jumped,
}
ALL_KINDS = ("unit-slip", "rotation-jump", "sides-swapped", "rate-plateau", "interpenetration", "root-jump")
