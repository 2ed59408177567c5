"""The columns of a motion, each with its unit and its meaning: what tables of every kind are made from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ...body.parts import Joint
from ..motion.pose_tables import continuous_quaternions
from .handover import Handover

QUATERNION = ("qx", "qy", "qz", "qw")
POSITION = ("x_m", "y_m", "z_m")


@dataclass(frozen=True, eq=False)
class Column:
    """One column: name as in the tables of a fit, (T,) values, unit, and what it means."""

    name: str
    values: np.ndarray
    unit: str
    meaning: str


def time_column(handed: Handover) -> Column:
    """Seconds of the capture's clock."""
    return Column("time_s", handed.poses.time, "s", "time on the capture's clock")


def angle_columns(handed: Handover) -> Iterator[Column]:
    """Every joint's angles, deg, each followed by its standard deviation where one is known."""
    for name, joint in handed.joints.items():
        for number, angle in enumerate(joint.angles):
            values = np.degrees(handed.poses.joint_angles[name][angle])
            yield Column(f"{name}_{angle}_deg", values, "deg", angle_meaning(joint, number))
            spread = handed.angle_sd.get(name, {}).get(angle)
            if spread is not None:
                meaning = f"standard deviation of {name} {angle} by the fit's own account"
                yield Column(f"{name}_{angle}_sd_deg", np.degrees(spread), "deg", meaning)


def segment_columns(handed: Handover) -> Iterator[Column]:
    """Every segment's rotation, and its origin where lengths are known."""
    positions = handed.poses.positions
    for name in handed.poses.model.segments:
        quat = continuous_quaternions(handed.poses.rotations[name])
        meaning = f"rotation world_from_{name}, unit quaternion, Hamilton, scalar last"
        for part, values in zip(QUATERNION, quat.T, strict=True):
            yield Column(f"{name}_{part}", values, "1", meaning)
        if positions is not None:
            for part, values in zip(POSITION, positions[name].T, strict=True):
                yield Column(f"{name}_{part}", values, "m", f"origin of {name} in the world")


def angle_meaning(joint: Joint, number: int) -> str:
    """What a joint's first, second or third angle is."""
    sign = "" if joint.signs[number] > 0 else ", sign turned"
    return (
        f"{joint.angles[number]} of {joint.name}: turn {number + 1} of the intrinsic sequence "
        f"{joint.sequence} that takes {joint.parent} to {joint.child}{sign}"
    )
