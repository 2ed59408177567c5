"""Stretches of a motion in which some segments may move, and when two of them are one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ...chain import BodyModel


@dataclass(frozen=True)
class Stretch:
    """Frames [start, end) in which these segments may move; the frames next to it stay as they are."""

    start: int
    end: int
    moving: frozenset[str]


def merged(model: BodyModel, stretches: Iterable[Stretch]) -> list[Stretch]:
    """Stretches that share time and a segment, or time and a joint between their segments, made one.

    Parameters
    ----------
    model : the body
    stretches : in any order

    Returns
    -------
    Stretches that can be solved one by one, by start
    """
    todo, done = sorted(stretches, key=lambda s: s.start, reverse=True), list[Stretch]()
    while todo:
        one = todo.pop()
        near = one.moving | _neighbours(model, one.moving)
        # frames next to a stretch are held, so stretches may not even touch
        other = next((s for s in done if s.end >= one.start and one.end >= s.start and s.moving & near), None)
        if other is None:
            done.append(one)
        else:
            done.remove(other)
            todo.append(
                Stretch(min(one.start, other.start), max(one.end, other.end), one.moving | other.moving)
            )
    return sorted(done, key=lambda s: s.start)


def tied(model: BodyModel, segments: frozenset[str]) -> frozenset[str]:
    """These segments, and those tied to them by joints that can't turn all ways: they move along.

    Parameters
    ----------
    model : the body
    segments : names

    Returns
    -------
    names
    """
    pairs = [frozenset((j.parent, j.child)) for j in model.joints.values() if j.type != "ball"]
    while more := [pair for pair in pairs if pair & segments and not pair <= segments]:
        segments = segments.union(*more)
    return segments


def _neighbours(model: BodyModel, segments: frozenset[str]) -> set[str]:
    """Segments at the other end of these segments' joints."""
    pairs = [(joint.parent, joint.child) for joint in model.joints.values()]
    return {b for pair in pairs for a, b in (pair, pair[::-1]) if a in segments and b not in segments}
