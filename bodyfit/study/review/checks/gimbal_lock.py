"""Joint angles read where two axes of their sequence nearly coincide."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ....body.anatomy import side_and_part
from ....body.motion.joint_angles import angle_rates
from ....body.motion.reports import REPORTS
from ....body.parts import Joint
from ....core.findings import Finding
from ....core.intervals import stretches
from ..limits import GIMBAL
from ..subject import Reviewed
from ..worst_stretches import worst_of


def near_gimbal(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which a joint's outer two angles mean little by themselves.

    Yields
    ------
    Finding of kind gimbal
    """
    for joint in reviewed.poses.model.joints.values():
        angles = reviewed.poses.joint_angles[joint.name]
        raw = np.stack([angles[a] for a in joint.angles], -1) * np.asarray(joint.signs)
        clear = np.sqrt(angle_rates(raw, joint.sequence)[1])
        away = np.degrees(np.arcsin(np.clip(clear, 0, 1)))
        found = worst_of(stretches(reviewed.time, away < GIMBAL.value), -away)
        outer = f"{joint.angles[0]} and {joint.angles[2]}".replace("_", " ")
        for stretch, more in found:
            least = float(away[stretch.frames].min())
            yield Finding(
                "gimbal",
                "note",
                f"{joint.name} comes within {least:.0f}° of where {outer} can't be told apart"
                f"{' (sequence ' + joint.sequence + ')'}{more}",
                f"Read {joint.angles[1].replace('_', ' ')} there, or the sum or difference of {outer}; the "
                f"rotations themselves are not touched by it{_told_otherwise(joint)}",
                joints=(joint.name,),
                start=stretch.start,
                end=stretch.end,
                value=least,
                threshold=GIMBAL.value,
                measure="deg",
                source=GIMBAL.source,
            )


def _told_otherwise(joint: Joint) -> str:
    """Which key tells the joint by angles that are steady there."""
    reports = REPORTS.get(side_and_part(joint.name)[1], {})
    others = [word for word, (sequence, *_) in reports.items() if sequence != joint.sequence]
    words = " or ".join(f'"{word}"' for word in others)
    key = f"report = {words} under [joints.{joint.name}] in setup.toml"
    return f"; {key} tells it by angles that are steady here" if words else ""
