"""Joints that turn, or change their turning, faster than people have been seen to."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ....body.anatomy import part_of
from ....core.filters import low_passed
from ....core.findings import Finding
from ....core.intervals import stretches
from ..limits import (
    ACCELERATION_CUTOFF_HZ,
    ACCELERATION_SOURCE,
    FASTEST_DEG_S,
    FASTEST_OTHER_DEG_S,
    TO_TOP_RATE_S,
    Limit,
)
from ..subject import Reviewed
from ..worst_stretches import worst_of

ONE_FRAME = 0.0  # s: a single frame counts


def of_joint(limits: dict[str, Limit], joint: str) -> Limit | None:
    """The limit of a joint, the same for left and right.

    Parameters
    ----------
    limits : joint without its side -> limit
    joint : name

    Returns
    -------
    Limit, or None where there is none
    """
    return limits.get(part_of(joint))


def joint_rates(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which a joint turns faster than the fastest published motion of it.

    Yields
    ------
    Finding of kind joint-rate
    """
    for name in reviewed.poses.model.joints:
        limit = of_joint(FASTEST_DEG_S, name) or FASTEST_OTHER_DEG_S
        rate = np.degrees(np.linalg.norm(reviewed.joint_rates[name], axis=1))
        yield from _over(reviewed, "joint-rate", name, rate, limit, "turns at", "deg/s")


def joint_accelerations(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which a joint's rate changes faster than the fastest published rate is reached.

    Yields
    ------
    Finding of kind joint-acceleration
    """
    step = reviewed.step
    for name in reviewed.poses.model.joints:
        top = (of_joint(FASTEST_DEG_S, name) or FASTEST_OTHER_DEG_S).value
        rate = low_passed(reviewed.joint_rates[name], 1 / step, _cutoff(len(reviewed.time)))
        acceleration = np.degrees(np.linalg.norm(np.gradient(rate, step, axis=0), axis=1))
        limit = Limit(top / TO_TOP_RATE_S, ACCELERATION_SOURCE)
        yield from _over(reviewed, "joint-acceleration", name, acceleration, limit, "speeds up by", "deg/s²")


def _cutoff(frames: int) -> float | None:
    """Hz, or None: too few frames to filter."""
    return ACCELERATION_CUTOFF_HZ if frames > 30 else None


def _over(
    reviewed: Reviewed, kind: str, joint: str, size: np.ndarray, limit: Limit, does: str, measure: str
) -> Iterator[Finding]:
    found = worst_of(stretches(reviewed.time, size > limit.value, shortest=ONE_FRAME), size)
    for stretch, more in found:
        most = float(np.max(size[stretch.frames]))
        yield Finding(
            kind,
            "serious" if most > 2 * limit.value else "warning",
            f"{joint} {does} {most:.0f} {measure}, over the {limit.value:.0f} {measure} that people reach"
            f"{more}",
            "Look for a knock, a loose unit or a gap in the samples there; don't read angles in this stretch",
            joints=(joint,),
            segments=(reviewed.poses.model.joints[joint].child,),
            start=stretch.start,
            end=stretch.end,
            value=most,
            threshold=limit.value,
            measure=measure,
            source=limit.source,
        )
