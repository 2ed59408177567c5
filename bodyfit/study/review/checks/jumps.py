"""What happens from one frame to the next that no body does: a segment or the whole body leaps."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ....core.findings import Finding
from ....core.intervals import Stretch, stretches
from ..limits import FASTEST_RUN, JUMP_DEG, JUMP_SOURCE, ROOT_JUMP
from ..subject import AROUND, Reviewed
from ..worst_stretches import worst_of


def rotation_jumps(reviewed: Reviewed) -> Iterator[Finding]:
    """Frames at which a segment's rotation leaps.

    Yields
    ------
    Finding of kind rotation-jump
    """
    for name, jumps in reviewed.jumps.items():
        turn = np.degrees(np.linalg.norm(reviewed.turns[name], axis=1))
        found = worst_of(stretches(reviewed.time[1:], jumps, shortest=0.0), turn)
        for stretch, more in found:
            most = float(turn[stretch.frames].max())
            yield Finding(
                "rotation-jump",
                "serious" if most > 2 * JUMP_DEG else "warning",
                f"{name} turns by {most:.0f}° from one frame to the next, unlike before and after{more}",
                "Look for a gap in the samples, a knock or a unit that slipped; angles after it may be off "
                "by as much",
                segments=(name,),
                joints=tuple(
                    j.name for j in reviewed.poses.model.joints.values() if name in (j.parent, j.child)
                ),
                start=stretch.start,
                end=stretch.end,
                value=most,
                threshold=JUMP_DEG,
                measure="deg",
                source=JUMP_SOURCE,
                harm_deg=most,
            )


def root_jumps(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which the body moves faster than anybody runs, or leaps between two frames.

    Yields
    ------
    Finding of kind root-jump
    """
    position = reviewed.poses.root_position
    if position is None or len(position) < 2 * AROUND + 2:
        return
    step = np.diff(position, axis=0)
    padded = np.pad(step, ((AROUND, AROUND), (0, 0)), mode="edge")
    usual = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * AROUND + 1, axis=0), axis=-1)
    extra = np.linalg.norm(step - usual, axis=1)
    speed = np.linalg.norm(step, axis=1) / np.diff(reviewed.time)
    leaps = ((extra > ROOT_JUMP.value) | (speed > FASTEST_RUN.value)) & ~reviewed.paused
    found = worst_of(stretches(reviewed.time[1:], leaps, shortest=0.0), speed)
    for stretch, more in found:
        yield _root_finding(reviewed, stretch, float(speed[stretch.frames].max()), more)


def _root_finding(reviewed: Reviewed, stretch: Stretch, speed: float, more: str) -> Finding:
    position = reviewed.poses.root_position
    assert position is not None
    moved = float(np.linalg.norm(position[stretch.last + 1] - position[stretch.first]))
    return Finding(
        "root-jump",
        "serious",
        f"the body moves {moved:.2f} m within {stretch.end - stretch.start + reviewed.step:.2f} s, at up to "
        f"{speed:.0f} m/s{more}",
        "The path of the body is not to be used across this time; joint angles are not touched by it",
        segments=(reviewed.poses.model.root,),
        start=stretch.start,
        end=stretch.end,
        value=speed,
        threshold=FASTEST_RUN.value,
        measure="m/s",
        source=f"{FASTEST_RUN.source}; or {ROOT_JUMP.source}",
    )
