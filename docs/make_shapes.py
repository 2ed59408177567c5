"""Makes models/shapes.npz: low-polygon shapes of segments for viewing, of length one, by trimesh.

    python docs/make_shapes.py

They come with bodyfit so that a fit needs neither trimesh nor the work; `files/scene/segment_mesh.py` puts
them in place. Edges sharper than 40° have their corners twice, so that each face keeps its light.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh
from trimesh.graph import smooth_shade

from bodyfit.files.scene.segment_mesh import BAR, SHARP_EDGE, SHIPPED

OUT = Path(__file__).resolve().parents[1] / "models" / SHIPPED
SIDES = 10  # corners around a rounded shape
# Shares of the length, along the segment from its origin: (along, half width Z), and half depth / half width.
# By eye: they are for looking at, nothing is computed from them.
OUTLINES = {
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
CORNERS = {
    "hand": [(x, y, z) for x in (-0.07, 0.07) for y, z in ((0.0, 0.16), (-0.45, 0.22), (-1.0, 0.12))],
    "hindfoot": [
        *((-0.25, -0.257, 0.13), (-0.2, -0.02, 0.1), (-0.12, 0.06, 0.1), (0.14, 0.04, 0.1)),
        *((0.5, -0.257, 0.18), (0.45, -0.14, 0.17), (0.75, -0.257, 0.12), (0.75, -0.2, 0.12)),
    ],
}


def shapes() -> dict[str, trimesh.Trimesh]:
    """Part of the body -> closed shape of length one, X forward, Y up, Z right; a bar along +Z for others."""
    out = {part: _turned(*outline) for part, outline in OUTLINES.items()}
    return out | {part: _hull(corners) for part, corners in CORNERS.items()} | {BAR: _bar()}


def arrays() -> dict[str, np.ndarray]:
    """What the file holds: of each shape its corners, their normals and the faces."""
    out = {}
    for part, shape in shapes().items():
        shaded = smooth_shade(shape, angle=SHARP_EDGE)
        out[f"{part}_vertices"] = np.asarray(shaded.vertices, float)
        out[f"{part}_normals"] = np.asarray(shaded.vertex_normals, float)
        out[f"{part}_faces"] = np.asarray(shaded.faces, np.uint32)
    return out


def _turned(outline: list[tuple[float, float]], depth_over_width: float) -> trimesh.Trimesh:
    """A profile turned about Y: (along Y, half width along Z), flattened or stretched along X."""
    profile = np.array(outline)[:, ::-1]  # (radius, height), from the outside bottom up
    if profile[0, 1] > profile[-1, 1]:
        profile = profile[::-1]
    shape = trimesh.creation.revolve(profile, sections=SIDES)
    x, y, z = shape.vertices.T
    return trimesh.Trimesh(np.column_stack([x * depth_over_width, z, -y]), shape.faces)


def _hull(corners: list[tuple[float, float, float]]) -> trimesh.Trimesh:
    """Convex hull of corners and their mirror images in Z."""
    points = [(x, y, side * z) for x, y, z in corners for side in (1, -1)]
    return trimesh.convex.convex_hull(np.array(points))


def _bar() -> trimesh.Trimesh:
    """A round-ended bar from the origin to (0, 0, 1), its radius a tenth of that."""
    bend = np.linspace(-np.pi / 2, 0, 4)
    cap = 0.1 * np.column_stack([np.cos(bend), np.sin(bend)])  # (radius, height) from the lower pole
    cap[0, 0] = 0.0
    top = [0, 1] + cap[::-1] * [1, -1]
    return trimesh.creation.revolve(np.concatenate([cap, top]), sections=SIDES)


if __name__ == "__main__":
    np.savez_compressed(OUT, **arrays())
