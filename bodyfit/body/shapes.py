"""Simple shapes for viewing a body: one low-polygon trimesh per segment, in the segment's frame, m."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .anatomy import part_of
from .chain import BodyModel

if TYPE_CHECKING:
    import trimesh

DEFAULT_LENGTH = 0.2  # m, where neither a length nor a second joint centre says how long a segment is
_SIDES = 10  # corners around a rounded shape
# Shares of the length, along the segment from its origin: (along, half width Z), and half depth / half width.
# By eye: they are for looking at, nothing is computed from them.
_OUTLINES = {
    "pelvis": ([(-0.55, 0), (-0.4, 0.6), (0.1, 1.05), (0.6, 0.95), (1.0, 0.8), (1.05, 0)], 0.65),
    "thorax": (
        [(-0.05, 0), (0.0, 0.3), (0.3, 0.34), (0.62, 0.4), (0.74, 0.28), (0.8, 0.13), (1.0, 0.12), (1.02, 0)],
        0.68,
    ),
    "skull": ([(-0.12, 0), (0.0, 0.2), (0.3, 0.36), (0.65, 0.39), (0.9, 0.26), (1.0, 0)], 1.2),
    "upperarm": ([(0.14, 0), (0.08, 0.13), (-0.1, 0.17), (-0.5, 0.15), (-1.0, 0.12), (-1.05, 0)], 1.0),
    "forearm": ([(0.05, 0), (0.0, 0.13), (-0.25, 0.16), (-0.8, 0.1), (-1.0, 0.1), (-1.02, 0)], 0.9),
    "thigh": ([(0.1, 0), (0.0, 0.2), (-0.2, 0.21), (-0.6, 0.16), (-1.0, 0.13), (-1.05, 0)], 1.0),
    "calf": ([(0.05, 0), (0.0, 0.12), (-0.3, 0.14), (-0.8, 0.075), (-1.0, 0.08), (-1.02, 0)], 1.1),
}
# Corners (x, y, half width z) / length; the foot: heel a quarter behind the ankle, sole an ankle height below
# it, widths as Drillis & Contini 1966 (0.039 and 0.055 of stature against 0.152)
_CORNERS = {
    "hand": [(x, y, z) for x in (-0.07, 0.07) for y, z in ((0.0, 0.16), (-0.45, 0.22), (-1.0, 0.12))],
    "hindfoot": [
        *((-0.25, -0.257, 0.13), (-0.2, -0.02, 0.1), (-0.12, 0.06, 0.1), (0.14, 0.04, 0.1)),
        *((0.5, -0.257, 0.18), (0.45, -0.14, 0.17), (0.75, -0.257, 0.12), (0.75, -0.2, 0.12)),
    ],
}


def segment_shape(name: str, model: BodyModel) -> trimesh.Trimesh:
    """A closed low-polygon shape of one segment.

    Parameters
    ----------
    name : a segment of the model; human names get human outlines, others a bar between their joint centres
    model : scaled; unknown lengths are taken from joint centres, else 0.2 m

    Returns
    -------
    trimesh.Trimesh, fewer than 200 faces, vertices in the segment's frame (X forward, Y up, Z right), m
    """
    part = part_of(name)
    if part in _OUTLINES:
        return _turned(*_OUTLINES[part], length=segment_length(name, model))
    if part in _CORNERS:
        return _hull(_CORNERS[part], segment_length(name, model))
    return _bar(*end_points(name, model))


def segment_length(name: str, model: BodyModel) -> float:
    """Length of a segment: given, or the distance between its joint centres, or the default.

    Parameters
    ----------
    name : a segment of the model
    model : scaled

    Returns
    -------
    m
    """
    length = model.segments[name].length
    if length is not None:
        return length
    start, end = end_points(name, model)
    return float(np.linalg.norm(end - start))


def end_points(name: str, model: BodyModel) -> tuple[np.ndarray, np.ndarray]:
    """Two points that a bar joins: the joint centre towards the root, and that outwards.

    Parameters
    ----------
    name : a segment of the model
    model : scaled

    Returns
    -------
    start, end : (3,) m, segment frame
    """
    joints = model.joints.values()
    inner = [j.centre_in_child for j in joints if j.child == name and j.centre_in_child is not None]
    outer = [j.centre_in_parent for j in joints if j.parent == name and j.centre_in_parent is not None]
    start = np.asarray(inner[0], float) if inner else np.zeros(3)
    end = np.mean(outer, axis=0) if outer else -start
    if not inner and outer:
        start = -end if np.any(end) else start
    length = model.segments[name].length or DEFAULT_LENGTH
    if np.linalg.norm(end - start) < 0.05 * length:
        end = start - [0.0, length, 0.0]
    return start, end


def _turned(outline: list[tuple[float, float]], depth_over_width: float, length: float) -> trimesh.Trimesh:
    """A profile turned about Y: (along Y, half width along Z), flattened or stretched along X."""
    import trimesh

    profile = np.array(outline)[:, ::-1]  # (radius, height), from the outside bottom up
    if profile[0, 1] > profile[-1, 1]:
        profile = profile[::-1]
    shape = trimesh.creation.revolve(profile, sections=_SIDES)
    x, y, z = shape.vertices.T
    return trimesh.Trimesh(length * np.column_stack([x * depth_over_width, z, -y]), shape.faces)


def _hull(corners: list[tuple[float, float, float]], length: float) -> trimesh.Trimesh:
    """Convex hull of corners and their mirror images in Z."""
    import trimesh

    points = [(x, y, side * z) for x, y, z in corners for side in (1, -1)]
    return trimesh.convex.convex_hull(length * np.array(points))


def _bar(start: np.ndarray, end: np.ndarray) -> trimesh.Trimesh:
    """A round-ended bar from one point to another, its radius a tenth of their distance."""
    import trimesh

    length = float(np.linalg.norm(end - start))
    bend = np.linspace(-np.pi / 2, 0, 4)
    cap = 0.1 * length * np.column_stack([np.cos(bend), np.sin(bend)])  # (radius, height) from the lower pole
    cap[0, 0] = 0.0
    top = [0, length] + cap[::-1] * [1, -1]
    shape = trimesh.creation.revolve(np.concatenate([cap, top]), sections=_SIDES)
    shape.apply_transform(trimesh.geometry.align_vectors([0, 0, 1], end - start))
    shape.apply_translation(start)
    return shape
