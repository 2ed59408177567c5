"""A motion thinned for a page that plays it: the body's parts once, and how each is turned over time."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation, Slerp

from ...body.anatomy import SIDE_WORDS, side_and_part
from ...body.chain import BodyModel
from ...files.scene.segment_mesh import segment_mesh

FRAMES = 400  # at most
PER_ONE = 10000  # quaternions as whole numbers of so many to one: 0.01°
MM = 1000  # in a metre


def parts_of(model: BodyModel) -> list[dict[str, Any]]:
    """The body's segments, the root first, parents before children.

    Parameters
    ----------
    model : with every joint centre

    Returns
    -------
    list of dict
        "segment"; "side": left, right or middle; "parent": index, −1 of the root; "at": the joint in the
        parent's frame, "joint": in its own, x, y, z in whole mm; "shape": corners of the convex hull of its
        shape, x, y, z of one after the other in whole mm, its own frame.
    """
    order = _order(model)
    joints = {joint.child: joint for joint in model.joints.values()}
    parts = []
    for name in order:
        joint = joints.get(name)
        parts.append(
            {
                "segment": name,
                "side": SIDE_WORDS.get(side_and_part(name)[0], "middle"),
                "parent": -1 if joint is None else order.index(joint.parent),
                "at": _mm(None if joint is None else joint.centre_in_parent),
                "joint": _mm(None if joint is None else joint.centre_in_child),
                "shape": _mm(_corners(segment_mesh(name, model).vertices)),
            }
        )
    return parts


def moving_figure(
    time: np.ndarray, rotations: Mapping[str, Rotation], model: BodyModel, root: Rotation | None = None
) -> dict[str, list]:
    """How the parts of a body are turned over time.

    Parameters
    ----------
    time : (T,) s
    rotations : segment name -> rotation of length T, world_from_segment
    model : with every joint centre
    root : of length T, how the root is to be turned instead; the rest of the body follows

    Returns
    -------
    "time_s" : F numbers; "turns" : F lists of x, y, z, w of each part's quaternion, world_from_segment, in
        whole ten-thousandths, in the order of `parts_of`
    """
    some = np.linspace(0, len(time) - 1, min(FRAMES, len(time))).astype(int)
    turns = {name: Rotation.from_quat(rotations[name].as_quat()[some]) for name in model.segments}
    if root is not None:
        to = Rotation.from_quat(root.as_quat()[some]) * turns[model.root].inv()
        turns = {name: to * R for name, R in turns.items()}
    quats = np.concatenate([turns[name].as_quat() for name in _order(model)], axis=1)
    flat = np.round(PER_ONE * quats).astype(int)
    return {"time_s": np.round(time[some], 3).tolist(), "turns": flat.tolist()}


def at_times(time: np.ndarray, rotation: Rotation, wanted: np.ndarray) -> Rotation:
    """A rotation read at other times; before the first and after the last it stays.

    Parameters
    ----------
    time : (N,) s
    rotation : of length N
    wanted : (T,) s

    Returns
    -------
    rotation of length T
    """
    return Slerp(time, rotation)(np.clip(wanted, time[0], time[-1]))


def _order(model: BodyModel) -> list[str]:
    """Root first; a model's joints go outwards."""
    return [model.root, *(joint.child for joint in model.joints.values())]


def _corners(points: np.ndarray) -> np.ndarray:
    """Those of the points that the others lie between."""
    return points[np.sort(ConvexHull(points).vertices)]


def _mm(values: Any) -> list[int]:
    return np.round(MM * np.ravel(np.zeros(3) if values is None else values)).astype(int).tolist()
