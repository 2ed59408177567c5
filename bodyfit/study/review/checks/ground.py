"""Feet and the ground: soles below where the standing foot was, and soles that slide when none stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from ....body.anatomy import FEET
from ....body.motion.poses import PoseSequence
from ....body.motion.root_trajectory import soles
from ....core.findings import Finding
from ....core.intervals import Stretch, stretches
from ..limits import SLIDE, UNDER
from ..subject import Reviewed
from ..worst_stretches import worst_of

# m/s, a point of the sole that is slower stands, when it is also the lowest; as SLOWEST of the root's path
SLOW = 0.3
NEAR_LOWEST = 0.03  # m; as LOWEST of the root's path
ON_GROUND = 0.02  # m, above the ground within which a point touches it; common practice
SMOOTH_S = 0.05  # s; chosen; not tried
HELD_S = 0.1  # s; chosen; not tried
SLID = 0.1  # m; common practice
FOLLOWED = (
    "; the path of the body is itself taken from its feet, so heights and places drift with the "
    "distance walked"
)


@dataclass(frozen=True, eq=False)
class Soles:
    """The soles over time.

    Attributes
    ----------
    height : (T, 4) m, heel and ball, left and right, above the world's origin
    speed : (T, 4) m/s, horizontal
    stands : (T, 4) bool
    before, after : (T,) m, height of the point that stood last, or stands next
    """

    height: np.ndarray
    speed: np.ndarray
    stands: np.ndarray
    before: np.ndarray
    after: np.ndarray


def soles_of(poses: PoseSequence) -> Soles | None:
    """Where the soles are, or None: there are no two feet of known length, or no positions.

    Parameters
    ----------
    poses : any motion

    Returns
    -------
    Soles, or None; also when no point ever stands
    """
    there = all(foot in poses.model.segments and poses.model.segments[foot].length for foot in FEET)
    if not there or poses.positions is None or poses.root_position is None:
        return None
    width = max(1, round(SMOOTH_S / float(np.median(np.diff(poses.time)))))
    points = uniform_filter1d(soles(poses), width, axis=0, mode="nearest")
    velocity = np.gradient(points, poses.time, axis=0)
    height = points[..., 1]
    slow = np.linalg.norm(velocity, axis=-1) < SLOW
    stands = slow & (height < height.min(1, keepdims=True) + NEAR_LOWEST)
    level = np.where(stands, height, np.inf).min(1)
    known = np.flatnonzero(np.isfinite(level))
    if not len(known):
        return None
    at = np.searchsorted(known, np.arange(len(level)), side="right")
    before = level[known[np.maximum(at - 1, 0)]]
    after = level[known[np.minimum(np.searchsorted(known, np.arange(len(level))), len(known) - 1)]]
    return Soles(height, np.linalg.norm(velocity[..., (0, 2)], axis=-1), stands, before, after)


def feet(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which a foot is below the ground or slides on it.

    Yields
    ------
    Finding of kind foot-under-ground or foot-sliding

    Notes
    -----
    The ground at any time is the height of the foot that stood last and of the one that stands next, so
    stairs are no fault. Sliding is looked for only while no point of either sole stands.
    """
    where = soles_of(reviewed.poses)
    if where is None:
        return
    ground = np.minimum(where.before, where.after)
    under = 1000 * (ground[:, None] - where.height)
    touches = np.abs(where.height - ground[:, None]) < ON_GROUND
    nobody_stands = ~where.stands.any(1)
    for k, foot in enumerate(FEET):
        pair = slice(2 * k, 2 * k + 2)
        deep = under[:, pair].max(1)
        yield from _under(reviewed, foot, deep)
        speed = np.where(touches[:, pair], where.speed[:, pair], 0.0).max(1)
        yield from _sliding(reviewed, foot, np.where(nobody_stands, speed, 0.0))


def _under(reviewed: Reviewed, foot: str, deep: np.ndarray) -> Iterator[Finding]:
    found = worst_of(stretches(reviewed.time, deep > UNDER.value, shortest=HELD_S), deep)
    for stretch, more in found:
        most = float(deep[stretch.frames].max())
        what = f"{foot} is {most:.0f} mm below where a foot stands before and after{more}"
        yield _finding(reviewed, "foot-under-ground", foot, what, most, stretch)


def _sliding(reviewed: Reviewed, foot: str, speed: np.ndarray) -> Iterator[Finding]:
    found = stretches(reviewed.time, speed > SLIDE.value, join=reviewed.step, shortest=HELD_S)
    slid = [float(np.sum(speed[s.frames]) * reviewed.step) for s in found]
    kept = worst_of([s for s, way in zip(found, slid, strict=True) if way > SLID], speed)
    for stretch, more in kept:
        most, way = float(speed[stretch.frames].max()), float(np.sum(speed[stretch.frames]) * reviewed.step)
        what = f"{foot} slides {way:.2f} m on the ground at up to {most:.1f} m/s while no foot stands"
        yield _finding(reviewed, "foot-sliding", foot, what + more, most, stretch)


def _finding(reviewed: Reviewed, kind: str, foot: str, what: str, value: float, stretch: Stretch) -> Finding:
    limit, measure = (UNDER, "mm") if kind == "foot-under-ground" else (SLIDE, "m/s")
    advice = (
        "Check the units on this leg, the neutral pose and the lengths of the leg; feet do slide and hop too"
    )
    return Finding(
        kind,
        "note" if reviewed.root_followed or kind == "foot-sliding" else "warning",
        what,
        advice + (FOLLOWED if reviewed.root_followed else ""),
        segments=(foot,),
        start=stretch.start,
        end=stretch.end,
        value=value,
        threshold=limit.value,
        measure=measure,
        source=limit.source,
    )
