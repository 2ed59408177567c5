"""Feet and the ground: soles below where a foot stood, feet that slide or rise while they stand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import uniform_filter1d

from ....body.anatomy import FEET
from ....body.motion.poses import PoseSequence
from ....body.motion.root_trajectory import soles
from ....core.findings import Finding
from ....core.intervals import Stretch, stretches
from ....feet.samples import HZ, PER_KEY
from ....movement.strides.foot_motion import FootMotion, motion_of_body
from ..limits import FLOAT, SLIDE, UNDER
from ..subject import Reviewed
from ..worst_stretches import worst_of

# m/s, a point of the sole that is slower stands, when it is also the lowest; as SLOWEST of the root's path
SLOW = 0.3
NEAR_LOWEST = 0.03  # m; as LOWEST of the root's path
SMOOTH_S = 0.05  # s; chosen; not tried
HELD_S = 0.1  # s; chosen; not tried
# m/s at which all stances together rise; tried: on demo captures and recorded motions, true ones below 0.005
RISING = 0.008
# s that feet stand in all before that is told; tried: on the same motions, in fewer single stances decide
STOOD_S = 10.0
EDGE_S = 0.06  # s at both ends of a stance in which the foot may still roll (by reasoning: three keyframes)
LIMITS = {"foot-under-ground": (UNDER, "mm"), "foot-sliding": (SLIDE, "m"), "foot-floating": (FLOAT, "mm")}
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
    stands : (T, 4) bool, slow and low
    before, after : (T,) m, height of the point that stood last, or stands next
    """

    height: np.ndarray
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
    return Soles(height, stands, before, after)


def feet(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which a foot is below the ground or slides on it.

    Yields
    ------
    Finding of kind foot-under-ground, foot-sliding or foot-floating

    Notes
    -----
    The ground at any time is the height of the foot that stood last and of the one that stands next, so
    stairs are no fault. A foot stands while it neither turns nor is accelerated (feet/contact.py): its heel
    or its ball then keeps its place, along the ground and in height.
    """
    where = soles_of(reviewed.poses)
    if where is None:
        return
    ground = np.minimum(where.before, where.after)
    under = 1000 * (ground[:, None] - where.height)
    motions = [motion_of_body(reviewed.poses, foot) for foot in FEET]
    for k, foot in enumerate(FEET):
        yield from _under(reviewed, foot, under[:, 2 * k : 2 * k + 2].max(1))
        if not reviewed.on_treadmill:
            yield from _moving(reviewed, foot, motions[k])
    yield from _rising(reviewed, motions)


def _under(reviewed: Reviewed, foot: str, deep: np.ndarray) -> Iterator[Finding]:
    found = worst_of(stretches(reviewed.time, deep > UNDER.value, shortest=HELD_S), deep)
    for stretch, more in found:
        most = float(deep[stretch.frames].max())
        what = f"{foot} is {most:.0f} mm below where a foot stands before and after{more}"
        yield _finding(reviewed, "foot-under-ground", foot, what, most, stretch)


def _moving(reviewed: Reviewed, foot: str, motion: FootMotion) -> Iterator[Finding]:
    """The worst stance in which a foot slides, and the worst in which it rises or sinks, with how many."""
    first, last, way = _stances(motion)
    if not len(first):
        return
    slid = np.linalg.norm(way[..., [0, 2]], axis=-1).min(0)
    risen = 1000 * np.abs(way[..., 1]).min(0)
    for kind, size, limit, sentence in (
        ("foot-sliding", slid, SLIDE, "{} slides {:.2f} m while it stands"),
        ("foot-floating", risen, FLOAT, "{} rises or sinks by {:.0f} mm while it stands"),
    ):
        worst, count = int(np.argmax(size)), int(np.sum(size > limit.value))
        if count:
            more = f"; {count} stances alike" if count > 1 else ""
            span = motion.time[first[worst]], motion.time[last[worst]]
            at = np.searchsorted(reviewed.time, span)
            stretch = Stretch(int(at[0]), int(at[1]), float(span[0]), float(span[1]))
            what = sentence.format(foot, size[worst]) + more
            yield _finding(reviewed, kind, foot, what, float(size[worst]), stretch)


def _stances(motion: FootMotion) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(S,) first and last keyframes of stances but for their ends; (2, S, 3) m, way of heel and ball."""
    edge = round(EDGE_S * HZ / PER_KEY)
    inner = [(a + edge, b - edge) for a, _, b in motion.stances if b - a > 2 * edge]
    first, last = np.array(inner, int).reshape(-1, 2).T
    ways = [p[last] - p[first] for p in (motion.place_of(motion.heel), motion.place_of(motion.ball))]
    return first, last, np.stack(ways)


def _rising(reviewed: Reviewed, motions: Sequence[FootMotion]) -> Iterator[Finding]:
    """A body that rises or sinks evenly: too little in any one stance to be told, but in all of them."""
    risen, stood = 0.0, 0.0
    for motion in motions:
        first, last, way = _stances(motion)
        up = way[..., 1]
        risen += float(np.where(np.abs(up[0]) < np.abs(up[1]), up[0], up[1]).sum())
        stood += float((motion.time[last] - motion.time[first]).sum())
    if stood < STOOD_S or abs(risen) < RISING * stood:
        return
    word, rate = "rise" if risen > 0 else "sink", abs(risen) / stood
    span = float(reviewed.time[-1] - reviewed.time[0])
    what = (
        f"feet {word} by {1000 * rate:.0f} mm a second while they stand, {rate * span:.1f} m over the capture"
    )
    whole = Stretch(0, len(reviewed.time) - 1, float(reviewed.time[0]), float(reviewed.time[-1]))
    finding = _finding(reviewed, "foot-floating", FEET[0], what, 1000 * rate * span, whole)
    yield replace(finding, segments=tuple(FEET))


def _finding(reviewed: Reviewed, kind: str, foot: str, what: str, value: float, stretch: Stretch) -> Finding:
    limit, measure = LIMITS[kind]
    advice = (
        "Check the units on this leg, the neutral pose and the lengths of the leg; feet do slide and hop too"
    )
    return Finding(
        kind,
        "note" if reviewed.root_followed or kind != "foot-under-ground" else "warning",
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
