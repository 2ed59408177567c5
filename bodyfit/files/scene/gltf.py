"""pose.glb: the body as an animated glTF 2.0 scene that any viewer opens.

Everything is turned from ISB axes (X forward, Y up, Z right) to those of glTF and of ISO/IEC 19774-1 (X left,
Y up, Z to the front), nodes, meshes and motion alike, so that with every segment in the neutral pose no node
is rotated and the body faces +Z.

Each joint is a node at its centre, named as the joint; it carries the child segment's node, which holds the
mesh and the joints further out. The top node is `humanoid_root` where the root is the pelvis.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import IO, Any

import numpy as np
from scipy.spatial.transform import Rotation

from ...body.anatomy import side_and_part
from ...body.chain import BodyModel
from ...body.motion.poses import PoseSequence
from ...core.colours import SIDES
from ..motion.pose_tables import continuous_quaternions
from .glb import INDICES, VERTICES, Buffer, write_glb
from .segment_mesh import segment_mesh
from .viewing_layout import laid_out

AXES = "glTF: +X to the left, +Y up, +Z forward, metres; a node's rotation is parent_from_node"
FRAMES_PER_SECOND = 30.0  # at most: enough for the eye, and a tenth of the file at 300 Hz; by reasoning


def write_pose(file: IO[bytes], poses: PoseSequence, told: Mapping[str, str]) -> None:
    """pose.glb: skeleton, meshes and motion of a pose sequence.

    Parameters
    ----------
    file : open for bytes
    poses : (T,) times; frames are thinned to at most 30 a second, those that stay are kept as they are
    told : short word -> sentence, what the file says of itself: `Account.as_text`; kept in `asset.extras`

    Notes
    -----
    Times start at zero, as players expect; `asset.extras.start_time_s` holds the first one. Where joint
    centres are unknown, `asset.extras.layout` says what stands in for them.
    """
    model, note = laid_out(poses.model)
    buffer = Buffer()
    sides = [side for side in SIDES if side in map(_side, model.segments)]
    meshes = [_mesh(buffer, model, segment, sides) for segment in model.segments]
    nodes, turning = _nodes(model)
    extras: dict[str, Any] = {**told, "frames": AXES}
    extras |= {"start_time_s": float(poses.time[0])} | ({"layout": note} if note else {})
    tree = {
        "asset": {"version": "2.0", "generator": "bodyfit", "extras": extras},
        "scene": 0,
        "scenes": [{"name": model.name, "nodes": [0]}],
        "nodes": nodes,
        "meshes": meshes,
        "materials": [_material(side) for side in sides],
        "animations": [_animation(buffer, poses, nodes, turning)],
    }
    write_glb(file, tree, buffer)


def to_gltf(vector: np.ndarray) -> np.ndarray:
    """Vectors (or the vector parts of quaternions) in glTF axes: x' = −z, y' = y, z' = x.

    Parameters
    ----------
    vector : (..., 3) array, ISB axes

    Returns
    -------
    (..., 3) float32 array
    """
    x, y, z = np.moveaxis(np.asarray(vector, np.float32), -1, 0)
    return np.stack([-z, y, x], axis=-1)


def _root_name(model: BodyModel) -> str:
    return "humanoid_root" if model.root == "pelvis" else model.root


def _nodes(model: BodyModel) -> tuple[list[dict[str, Any]], dict[str, int]]:
    """The tree of nodes, top first, and the index of each joint's node; the top one counts as the root's.

    Where the top node bears the root segment's name it holds that segment's mesh itself.
    """
    mesh = {segment: {"mesh": number} for number, segment in enumerate(model.segments)}
    top = _root_name(model)
    nodes: list[dict[str, Any]] = [{"name": top}]
    if top == model.root:
        nodes[0] |= mesh[model.root]
        places = {model.root: 0}
    else:
        places = {model.root: _add(nodes, 0, {"name": model.root} | mesh[model.root])}
    turning = {model.root: 0}
    for joint in model.joints.values():
        turning[joint.child] = _add(
            nodes, places[joint.parent], {"name": joint.name} | _moved(joint.centre_in_parent)
        )
        origin = {} if joint.centre_in_child is None else _moved(-np.asarray(joint.centre_in_child))
        places[joint.child] = _add(
            nodes, turning[joint.child], {"name": joint.child} | mesh[joint.child] | origin
        )
    return nodes, turning


def _add(nodes, parent: int, node: dict[str, Any]) -> int:
    nodes.append(node)
    nodes[parent].setdefault("children", []).append(len(nodes) - 1)
    return len(nodes) - 1


def _moved(offset) -> dict[str, list[float]]:
    return {"translation": to_gltf(offset).tolist()} if np.any(offset) else {}


def _mesh(buffer: Buffer, model: BodyModel, segment: str, sides: Sequence[str]) -> dict[str, Any]:
    shape = segment_mesh(segment, model)
    attributes = {
        "POSITION": buffer.add(to_gltf(shape.vertices), VERTICES, bounds=True),
        "NORMAL": buffer.add(to_gltf(shape.normals), VERTICES),
    }
    indices = buffer.add(np.asarray(shape.faces, np.uint32).ravel(), INDICES)
    primitive = {"attributes": attributes, "indices": indices, "material": sides.index(_side(segment))}
    return {"name": segment, "primitives": [primitive]}


def _side(segment: str) -> str:
    return {"l": "left", "r": "right"}.get(side_and_part(segment)[0], "middle")


def _material(side: str) -> dict[str, Any]:
    colour = SIDES[side]
    srgb = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    # glTF colours are linear; IEC 61966-2-1
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    surface = {
        "baseColorFactor": [*linear.round(5).tolist(), 1.0],
        "metallicFactor": 0.0,
        "roughnessFactor": 0.8,
    }
    return {"name": side, "pbrMetallicRoughness": surface}


def _animation(
    buffer: Buffer, poses: PoseSequence, nodes: list[dict[str, Any]], turning: Mapping[str, int]
) -> dict[str, Any]:
    """One channel per segment's turning node, and the root's path when it is known."""
    keep = _frames_kept(poses.time)
    times = buffer.add((poses.time[keep] - poses.time[0]).astype(np.float32), bounds=True)
    tracks = {
        (turning[segment], "rotation"): _quaternions(rotation)
        for segment, rotation in _turns(poses, keep).items()
    }
    if poses.root_position is not None:
        path = to_gltf(poses.root_position[keep])
        nodes[0]["translation"] = path[0].tolist()
        tracks[0, "translation"] = path
    outputs = [buffer.add(values) for values in tracks.values()]
    samplers = [{"input": times, "output": output, "interpolation": "LINEAR"} for output in outputs]
    channels = [
        {"sampler": number, "target": {"node": node, "path": path}}
        for number, (node, path) in enumerate(tracks)
    ]
    return {"name": "motion", "samplers": samplers, "channels": channels}


def _turns(poses: PoseSequence, keep: slice) -> dict[str, Rotation]:
    """Segment -> its rotation against its parent; the root's against the world."""
    rotations = {name: poses.rotations[name][keep] for name in poses.model.segments}
    return {poses.model.root: rotations[poses.model.root]} | {
        joint.child: rotations[joint.parent].inv() * rotations[joint.child]
        for joint in poses.model.joints.values()
    }


def _quaternions(rotation: Rotation) -> np.ndarray:
    quat = continuous_quaternions(rotation).astype(np.float32)
    return np.concatenate([to_gltf(quat[:, :3]), quat[:, 3:]], axis=1)


def _frames_kept(time: np.ndarray) -> slice:
    """Every k-th frame, so that no more than 30 a second are left."""
    step = float(np.median(np.diff(time))) if len(time) > 1 else 1.0
    return slice(None, None, max(1, int(np.ceil(1 / (FRAMES_PER_SECOND * step) - 1e-6))))
