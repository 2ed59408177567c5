"""What is drawn for a segment: its own mesh file, or a simple shape that comes with bodyfit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from ...body.anatomy import part_of
from ...body.chain import BodyModel
from ...body.shapes import end_points, segment_length
from ...core.rotations import smallest_rotation
from ...errors import InputError
from ..plain.shipped import shipped_folder
from .mesh_file import check_mesh_file

SHARP_EDGE = np.radians(40)  # edges sharper than this keep their crease under the light; chosen; not tried
SHIPPED = "shapes.npz"  # made by docs/make_shapes.py
BAR = "bar"  # the shape of segments that are no part of a human body, along +Z


@dataclass(frozen=True, eq=False)
class Mesh:
    """A surface of triangles.

    Attributes
    ----------
    vertices, normals : (n, 3) m, and of length one; segment frame
    faces : (f, 3) int, counterclockwise from outside
    """

    vertices: np.ndarray
    normals: np.ndarray
    faces: np.ndarray


def segment_mesh(name: str, model: BodyModel) -> Mesh:
    """The segment's own mesh file (m, segment frame) where the model names one, else a simple shape.

    Parameters
    ----------
    name : a segment of the model; human names get human outlines, others a bar between their joint centres
    model : scaled; unknown lengths are taken from joint centres, else 0.2 m

    Returns
    -------
    Mesh; a simple shape has fewer than 200 faces

    Raises
    ------
    InputError
        The mesh file is missing, damaged or holds no triangles.
    """
    path = model.segments[name].mesh
    if path is not None:
        return _read(Path(path), f"segments.{name}.mesh", name)
    part = part_of(name)
    if f"{part}_faces" in _shipped():
        shape = _shape(part)
        return Mesh(segment_length(name, model) * shape.vertices, shape.normals, shape.faces)
    bar, (start, end) = _shape(BAR), end_points(name, model)
    R = smallest_rotation((end - start)[None], np.array([0.0, 0.0, 1.0]))[0].T
    length = float(np.linalg.norm(end - start))
    return Mesh(start + length * bar.vertices @ R.T, bar.normals @ R.T, bar.faces)


@cache
def _shipped() -> dict[str, np.ndarray]:
    with np.load(shipped_folder("models") / SHIPPED) as file:
        return dict(file)


def _shape(part: str) -> Mesh:
    """The shape of a part of the body, of length one."""
    return Mesh(*(_shipped()[f"{part}_{what}"] for what in ("vertices", "normals", "faces")))


def _read(path: Path, where: str, name: str) -> Mesh:
    """A mesh file."""
    import trimesh
    from trimesh.graph import smooth_shade

    check_mesh_file(where, path)
    try:
        shape = trimesh.load(path, force="mesh")
    except ImportError as error:  # a reader that fails falls back on guessing the text's encoding
        raise InputError(f"{where}: {path} is damaged: neither a binary nor a text mesh") from error
    except Exception as error:  # trimesh raises whatever its many readers do
        raise InputError(f"{where}: {path} can't be read as a mesh ({str(error)[:200]})") from error
    if not isinstance(shape, trimesh.Trimesh) or not len(shape.faces):
        raise InputError(
            f"segments.{name}.mesh: {path} holds no triangles, expected a surface mesh in metres, in the "
            "segment's frame"
        )
    shape = smooth_shade(shape, angle=SHARP_EDGE)
    return Mesh(np.asarray(shape.vertices), np.asarray(shape.vertex_normals), np.asarray(shape.faces))
