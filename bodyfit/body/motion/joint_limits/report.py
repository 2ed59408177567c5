"""What holding joint ranges changed in a motion."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ....core.intervals import runs
from ..poses import PoseSequence
from .enforce import HOLDS, range_bounds, range_excess


@dataclass(frozen=True)
class ExceededRange:
    """One angle that was beyond its range.

    Attributes
    ----------
    frames : how many
    most_deg : by how much at most, degrees
    """

    frames: int
    most_deg: float


@dataclass(frozen=True)
class StrictRanges:
    """What holding the ranges changed.

    Attributes
    ----------
    stretches, frames_changed : how many
    segments_changed : names
    largest_change_deg : of a segment's orientation in the world, degrees
    largest_change_segment : whose that was; None: nothing changed
    largest_change_s : when, s; None: nothing changed
    ranges_exceeded : joint -> angle -> what was beyond its range before
    """

    stretches: int
    frames_changed: int
    segments_changed: tuple[str, ...]
    largest_change_deg: float
    largest_change_segment: str | None
    largest_change_s: float | None
    ranges_exceeded: Mapping[str, Mapping[str, ExceededRange]]


def strict_report(before: PoseSequence, after: PoseSequence) -> StrictRanges:
    """What holding the ranges changed.

    Parameters
    ----------
    before, after : the argument and the result of `within_ranges`

    Returns
    -------
    StrictRanges
    """
    turned, changed = {}, np.zeros(len(before.time), bool)
    for name in before.model.segments:
        old, new = before.rotations[name], after.rotations[name]
        differs = (old.as_quat() != new.as_quat()).any(-1)
        if differs.any():
            turned[name] = (new * old.inv()).magnitude() * differs
            changed |= differs
    largest = max(turned, key=lambda name: turned[name].max(), default=None)
    return StrictRanges(
        stretches=len(runs(changed)),
        frames_changed=int(changed.sum()),
        segments_changed=tuple(turned),
        largest_change_deg=float(np.degrees(turned[largest].max())) if largest else 0.0,
        largest_change_segment=largest,
        largest_change_s=float(before.time[turned[largest].argmax()]) if largest else None,
        ranges_exceeded=_exceeded(before),
    )


def _exceeded(poses: PoseSequence) -> dict[str, dict[str, ExceededRange]]:
    """Joint -> angle -> number of frames beyond the range, and by how much at most."""
    found: dict[str, dict[str, ExceededRange]] = {}
    for name, limits in range_bounds(poses.model).items():
        joint = poses.model.joints[name]
        excess = range_excess(poses, joint, limits)
        for angle, beyond in zip(joint.angles, excess.T, strict=True):
            if (beyond > HOLDS).any():
                one = ExceededRange(int((beyond > HOLDS).sum()), float(np.degrees(beyond.max())))
                found.setdefault(name, {})[angle] = one
    return found
