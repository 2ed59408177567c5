"""Bodies drawn flat: shaded triangles seen from one direction, far ones first."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_rgb

from bodyfit.body.motion.poses import PoseSequence
from bodyfit.core.colours import INK, SIDES
from bodyfit.files.scene.segment_mesh import segment_mesh

LIGHT = np.array([-0.4, 0.6, 0.69])  # right, up, towards the viewer


def view(azimuth_deg: float, height_deg: float) -> np.ndarray:
    """Rows right, up, towards the viewer (3, 3), for a viewer at a heading from +X towards −Z, looking down.

    Parallel projection: image = view @ world point.
    """
    a, h = np.radians([azimuth_deg, height_deg])
    towards = np.array([np.cos(a) * np.cos(h), np.sin(h), -np.sin(a) * np.cos(h)])
    right = np.cross([0.0, 1.0, 0.0], towards)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(towards, right), towards])


def colour_of(segment: str) -> str:
    """By side, as in pose.glb."""
    return SIDES[{"l_": "left", "r_": "right"}.get(segment[:2], "middle")]


def triangles(poses: PoseSequence, frame: int) -> tuple[np.ndarray, list[str]]:
    """All segments' triangles in the world (n, 3, 3) m, and the colour of each."""
    assert poses.positions is not None
    corners, colours = [], []
    for segment in poses.model.segments:
        shape = segment_mesh(segment, poses.model)
        R, p = poses.matrices[segment][frame], poses.positions[segment][frame]
        corners.append((shape.vertices @ R.T + p)[shape.faces])
        colours += [colour_of(segment)] * len(shape.faces)
    return np.concatenate(corners), colours


def draw_body(
    axes: Axes, poses: PoseSequence, frame: int, seen: np.ndarray, at: tuple[float, float], pale: float = 0.0
) -> None:
    """One pose, its root over a point of the image; `seen` as from `view`; `pale` from 0 to 1 (white)."""
    assert poses.positions is not None
    root = poses.positions[poses.model.root][frame]
    corners, colours = triangles(poses, frame)
    image = (corners - root * [1.0, 0.0, 1.0]) @ seen.T
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    front = normal @ seen[2] > 0
    order = np.flatnonzero(front)[np.argsort(image[front, :, 2].mean(1))]
    lit = 0.55 + 0.55 * np.clip(normal[order] @ seen.T @ LIGHT, 0.0, 1.0)
    faces = [shaded(colours[i], share, pale) for i, share in zip(order, lit, strict=True)]
    flat = image[order, :, :2] + np.array(at)
    axes.add_collection(PolyCollection(list(flat), facecolors=faces, edgecolors=faces, lw=0.3))


def shaded(colour: str, share: float, pale: float) -> tuple[float, float, float]:
    """A colour made darker or lighter by a factor, then mixed with white."""
    r, g, b = (pale + (1 - pale) * min(1.0, share * part) for part in to_rgb(colour))
    return r, g, b


def draw_axes(
    axes: Axes, R: np.ndarray, origin: np.ndarray, seen: np.ndarray, length: float, names: bool
) -> None:
    """The three axes of a frame, X dashed, Y solid, Z dotted; `origin` in the image."""
    styles: Mapping[str, str] = {"X": "--", "Y": "-", "Z": ":"}
    for axis, (name, style) in zip(R.T, styles.items(), strict=True):
        end = origin[:2] + length * (seen @ axis)[:2]
        axes.plot(*zip(origin[:2], end, strict=True), style, color=INK, lw=1.4, solid_capstyle="butt")
        if names:
            axes.annotate(name, end, xytext=(3, 3), textcoords="offset points", color=INK, fontsize=9)
