"""The points of a C3D file: joint centres, segment ends and frames in mm, joint angles in degrees."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ....body.anatomy import part_of
from ....body.chain import BodyModel
from ....body.motion.root_trajectory import SOLE
from ....body.parts import Joint
from ..handover import Handover

MM = 1000.0  # in a metre; by definition
ARROW_MM = 100.0  # by reasoning: 32-bit floats hold a place 10 m off to 0.001 mm, an arrow to 0.001°


@dataclass(frozen=True, eq=False)
class Point:
    """One point of a C3D file: (T, 3) mm, or three angles in degrees where `is_angle`."""

    label: str
    description: str
    values: np.ndarray
    is_angle: bool = False


def points_of(handed: Handover) -> list[Point]:
    """All points of a fit.

    Notes
    -----
    `<joint>`: the joint's centre. `<segment>_end`: the far end of a segment that carries no further joint.
    `<segment>_o`, `_x`, `_y`, `_z`: the segment's origin and points 100 mm from it along its axes.
    `<joint>_angles`, `<joint>_angles_sd`: the joint's three angles in the order of its sequence. Without
    positions there are no centres and ends, and all frames stand in the world's origin.
    """
    return [*_centres(handed), *_ends(handed), *_frames(handed), *_angles(handed)]


def _centres(handed: Handover) -> Iterator[Point]:
    poses = handed.poses
    for name, joint in poses.model.joints.items():
        if poses.positions is not None and joint.centre_in_parent is not None:
            place = poses.positions[joint.parent] + poses.rotations[joint.parent].apply(
                joint.centre_in_parent
            )
            yield Point(name, f"centre of {name}, {joint.parent} to {joint.child}", MM * place)


def _ends(handed: Handover) -> Iterator[Point]:
    poses = handed.poses
    for name, (end, told) in far_ends(poses.model).items():
        if poses.positions is not None:
            place = poses.positions[name] + poses.rotations[name].apply(end)
            yield Point(f"{name}_end", told, MM * place)


def far_ends(model: BodyModel) -> dict[str, tuple[np.ndarray, str]]:
    """Segment without a further joint -> its far end (3,) m in its frame, and which point that is.

    Only of feet, hands and head, whose length is known.
    """
    parents = {joint.parent for joint in model.joints.values()}
    out = {}
    for name, segment in model.segments.items():
        part = part_of(name)
        if name in parents or not segment.length:
            continue
        if part == "hindfoot":
            out[name] = (SOLE[1] * segment.length, f"ball of {name}, on the sole")
        elif part in ("hand", "skull"):
            up = 1.0 if part == "skull" else -1.0
            out[name] = (np.array([0.0, up * segment.length, 0.0]), f"far end of {name} along its length")
    return out


def _frames(handed: Handover) -> Iterator[Point]:
    """Origin and the three axes of each segment."""
    poses = handed.poses
    where = "" if poses.positions is not None else "; places unknown, drawn in the world's origin"
    nowhere = np.zeros((len(poses.time), 3))
    for name, R in poses.matrices.items():
        origin = MM * poses.positions[name] if poses.positions is not None else nowhere
        yield Point(f"{name}_o", f"origin of {name}{where}", origin)
        for k, axis in enumerate("xyz"):
            told = f"{ARROW_MM:g} mm along {axis.upper()} of {name}"
            yield Point(f"{name}_{axis}", told, origin + ARROW_MM * R[:, :, k])


def _angles(handed: Handover) -> Iterator[Point]:
    """Three angles of each joint, then their standard deviations where known."""
    for name, joint in handed.joints.items():
        angles = handed.poses.joint_angles[name]
        values = np.degrees(np.stack([angles[angle] for angle in joint.angles], axis=1))
        yield Point(f"{name}_angles", _three(joint), values, True)
        spread = handed.angle_sd.get(name, {})
        if spread:
            unknown = np.full(len(values), np.nan)
            sd = np.stack([spread.get(angle, unknown) for angle in joint.angles], axis=1)
            told = f"standard deviations, deg, of {name} {', '.join(joint.angles)}"
            yield Point(f"{name}_angles_sd", told, np.degrees(sd), True)


def _three(joint: Joint) -> str:
    turned = [angle for angle, sign in zip(joint.angles, joint.signs, strict=True) if sign < 0]
    sign = f"; sign turned: {', '.join(turned)}" if turned else ""
    return f"x y z = {', '.join(joint.angles)}, deg; {joint.sequence}, {joint.parent} to {joint.child}{sign}"
