"""Segments that pass through each other: capsules, measured by pinocchio's collision geometry."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from ....body.anatomy import part_of
from ....body.chain import BodyModel
from ....body.shapes import end_points, segment_length
from ....core.findings import Finding
from ....core.intervals import Stretch, stretches
from ..limits import DEPTH, DEPTH_TURN_DEG
from ..subject import Reviewed
from ..worst_stretches import worst_of

if TYPE_CHECKING:
    import pinocchio

LOOKED_AT_HZ = 25.0  # frames a second that are measured; by reasoning: three frames of what must last
# that are measured; of a longer motion fewer a second; by reasoning: four minutes at that rate
MOST_FRAMES = 6000
HELD_S = 0.1  # s; chosen; not tried
# Capsules in the segment's frame, shares of its length: (from, to, radius). Narrower than the outlines that
# are drawn (docs/make_shapes.py), by eye (chosen; not tried): what flesh yields is no fault.
_TRUNK = [((0.0, 0.02, z), (0.0, 0.6, z), 0.16) for z in (-0.1, 0.0, 0.1)]
# likewise by eye, chosen; not tried
CAPSULES = {
    "pelvis": [((0.0, 0.5, -0.5), (0.0, 0.5, 0.5), 0.45)],
    "thorax": _TRUNK,
    "skull": [((0.0, 0.35, 0.0), (0.0, 0.65, 0.0), 0.33)],
    "upperarm": [((0.0, -0.1, 0.0), (0.0, -0.95, 0.0), 0.13)],
    "forearm": [((0.0, -0.05, 0.0), (0.0, -0.95, 0.0), 0.11)],
    "hand": [((0.0, -0.1, 0.0), (0.0, -0.4, 0.0), 0.1)],  # to the knuckles: fingers bend
    "thigh": [((0.0, -0.15, 0.0), (0.0, -0.95, 0.0), 0.15)],
    "calf": [((0.0, -0.05, 0.0), (0.0, -0.95, 0.0), 0.11)],
    "hindfoot": [((-0.12, -0.14, 0.0), (0.62, -0.14, 0.0), 0.12)],
}
# radius of any other segment, a share of the distance of its joint centres, as it is drawn; by definition
BAR = 0.1


@dataclass(frozen=True, eq=False)
class Capsule:
    """A round-ended bar in a segment's frame.

    Attributes
    ----------
    segment : name
    start, end : (3,) m, the ends of its axis
    radius : m
    """

    segment: str
    start: np.ndarray
    end: np.ndarray
    radius: float


def capsules(model: BodyModel) -> list[Capsule]:
    """Capsules of every segment of a body.

    Parameters
    ----------
    model : scaled

    Returns
    -------
    list of Capsule; human segments get human proportions, others a bar between their joint centres
    """
    out = []
    for name in model.segments:
        part = part_of(name)
        if part in CAPSULES:
            length = segment_length(name, model)
            out += [
                Capsule(name, length * np.array(a), length * np.array(b), length * r)
                for a, b, r in CAPSULES[part]
            ]
        else:
            start, end = end_points(name, model)
            out.append(Capsule(name, start, end, BAR * float(np.linalg.norm(end - start))))
    return out


def collision_model(model: BodyModel, body: pinocchio.Model) -> pinocchio.GeometryModel:
    """The capsules as pinocchio's collision geometry, with the pairs that are worth a look.

    Parameters
    ----------
    model : scaled, with every joint centre
    body : `model.pinocchio()`

    Returns
    -------
    pinocchio.GeometryModel; segments that share a joint, or touch in the neutral pose, are no pair
    """
    import coal
    import pinocchio as pin

    geometry = pin.GeometryModel()
    for index, capsule in enumerate(capsules(model)):
        frame = body.frames[body.getFrameId(capsule.segment)]
        along = capsule.end - capsule.start
        turn = pin.Quaternion.FromTwoVectors(np.array([0.0, 0.0, 1.0]), along).matrix()
        placement = frame.placement * pin.SE3(turn, 0.5 * (capsule.start + capsule.end))
        shape = coal.Capsule(capsule.radius, float(np.linalg.norm(along)))
        geometry.addGeometryObject(
            pin.GeometryObject(f"{capsule.segment}/{index}", frame.parentJoint, placement, shape)
        )
    _add_pairs(model, body, geometry)
    return geometry


def _segment_of(geometry: Any, index: int) -> str:
    return geometry.geometryObjects[index].name.split("/")[0]


def _add_pairs(model: BodyModel, body: Any, geometry: Any) -> None:
    """All pairs but neighbours and those that touch with every joint at zero."""
    import pinocchio as pin

    near = {frozenset((j.parent, j.child)) for j in model.joints.values()}
    for a, b in combinations(range(geometry.ngeoms), 2):
        names = frozenset((_segment_of(geometry, a), _segment_of(geometry, b)))
        if len(names) == 2 and names not in near:
            geometry.addCollisionPair(pin.CollisionPair(a, b))
    gaps = distances(body, geometry, pin.neutral(body)[None])[0]
    for pair, gap in zip(list(geometry.collisionPairs), gaps, strict=True):
        if gap < 0:
            geometry.removeCollisionPair(pair)


def distances(body: Any, geometry: Any, configurations: np.ndarray) -> np.ndarray:
    """Distance of each pair of capsules, below zero by how deep they are in each other.

    Parameters
    ----------
    body, geometry : pinocchio models
    configurations : (T, nq)

    Returns
    -------
    (T, pairs) m
    """
    import pinocchio as pin

    data, placed = body.createData(), geometry.createData()
    out = np.empty((len(configurations), len(geometry.collisionPairs)))
    for row, q in zip(out, configurations, strict=True):  # pinocchio takes one configuration at a time
        pin.updateGeometryPlacements(body, data, geometry, placed, q)
        pin.computeDistances(geometry, placed)
        row[:] = [result.min_distance for result in placed.distanceResults]
    return out


def interpenetration(reviewed: Reviewed) -> Iterator[Finding]:
    """Stretches in which two segments are deeper in each other than flesh yields.

    Yields
    ------
    Finding of kind interpenetration
    """
    poses = reviewed.poses
    unknown = [j for j in poses.model.joints.values() if j.centre_in_parent is None]
    if unknown or any(j.type == "hinge" and j.axis is None for j in poses.model.joints.values()):
        return
    body = poses.model.pinocchio()
    geometry = collision_model(poses.model, body)
    every = max(1, round(1 / (LOOKED_AT_HZ * reviewed.step)), -(-len(poses.time) // MOST_FRAMES))
    depth = -1000 * distances(body, geometry, poses.configurations()[::every])
    by_pair: dict[tuple[str, str], np.ndarray] = {}
    for pair, column in zip(geometry.collisionPairs, depth.T, strict=True):
        names = (_segment_of(geometry, pair.first), _segment_of(geometry, pair.second))
        by_pair[names] = np.maximum(column, by_pair.get(names, -np.inf))
    for names, mm in by_pair.items():
        limit = DEPTH.value + 1000 * np.radians(DEPTH_TURN_DEG) * way_between(poses.model, *names)
        found = worst_of(stretches(poses.time[::every], mm > limit, shortest=HELD_S), mm)
        for stretch, more in found:
            yield _finding(names, float(mm[stretch.frames].max()), limit, stretch, more)


def way_between(model: BodyModel, first: str, second: str) -> float:
    """Length of the chain of segments from one segment to another, both included.

    Parameters
    ----------
    model : scaled
    first, second : segments

    Returns
    -------
    m
    """
    up = {joint.child: joint.parent for joint in model.joints.values()}

    def to_root(segment: str) -> list[str]:
        return [segment, *to_root(up[segment])] if segment in up else [segment]

    ours, theirs = to_root(first), to_root(second)
    top = next(segment for segment in ours if segment in theirs)
    between = {top, *ours[: ours.index(top)], *theirs[: theirs.index(top)]}
    return sum(segment_length(segment, model) for segment in between)


def _finding(names: tuple[str, str], depth: float, limit: float, stretch: Stretch, more: str) -> Finding:
    return Finding(
        "interpenetration",
        "serious" if depth > 1.5 * limit else "warning",
        f"{names[0]} and {names[1]} are {depth:.0f} mm deep in each other{more}",
        "Check the neutral pose, the mounting and the lengths of these segments and those between them; a "
        "stout person, or one of other proportions, may touch here",
        segments=names,
        start=stretch.start,
        end=stretch.end,
        value=depth,
        threshold=float(limit),
        measure="mm",
        source=DEPTH.source,
    )
