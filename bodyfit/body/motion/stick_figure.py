"""A motion as lines between joint centres, thinned, to be played next to others."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.spatial.transform import Rotation, Slerp

from ..chain import BodyModel
from .poses import PoseSequence

FRAMES = 400  # at most
END_M = 0.12  # m, length at which a segment is drawn whose end is not known


def lines_of(model: BodyModel) -> list[tuple[int, int]]:
    """Pairs of points that a line joins; the points as `stick_figure` orders them."""
    order = [model.root, *(joint.child for joint in model.joints.values())]
    at = {segment: index for index, segment in enumerate(order)}
    inner = [(at[joint.parent], at[joint.child]) for joint in model.joints.values()]
    last = [name for name in order if name not in {joint.parent for joint in model.joints.values()}]
    return inner + [(at[name], len(order) + k) for k, name in enumerate(last)]


def stick_figure(
    time: np.ndarray, rotations: Mapping[str, Rotation], model: BodyModel, root: Rotation | None = None
) -> dict[str, list]:
    """Points of the body over time, the root's origin at zero.

    Parameters
    ----------
    time : (T,) s
    rotations : segment name -> rotation of length T, world_from_segment
    model : with every joint centre
    root : of length T, how the root is to be turned instead; the rest of the body follows

    Returns
    -------
    "time_s" : F numbers; "points" : F lists of x, y, z of each point in whole mm, world: where each segment
        begins, root first, then the ends of those that carry none
    """
    some = np.linspace(0, len(time) - 1, min(FRAMES, len(time))).astype(int)
    turn = {name: Rotation.from_quat(R.as_quat()[some]) for name, R in rotations.items()}
    if root is not None:
        to = Rotation.from_quat(root.as_quat()[some]) * turn[model.root].inv()
        turn = {name: to * R for name, R in turn.items()}
    points = _points(PoseSequence(time[some], turn, model))
    flat = np.round(1000 * points).astype(int).reshape(len(some), -1)
    return {"time_s": np.round(time[some], 3).tolist(), "points": flat.tolist()}


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


def _points(poses: PoseSequence) -> np.ndarray:
    """(F, points, 3) m."""
    model, positions = poses.model, poses.positions or {}
    joints = {joint.child: joint for joint in model.joints.values()}
    starts = [positions[model.root]]
    for name, joint in joints.items():
        centre = np.zeros(3) if joint.centre_in_child is None else joint.centre_in_child
        starts.append(positions[name] + poses.rotations[name].apply(centre))
    carrying = {joint.parent for joint in joints.values()}
    ends = []
    for name in (model.root, *joints):
        if name not in carrying:
            ends.append(positions[name] + poses.rotations[name].apply(_end(model, name)))
    return np.stack([*starts, *ends], axis=1)


def _end(model: BodyModel, name: str) -> np.ndarray:
    """Where a segment that carries none ends, in its frame: across its origin from its joint, else below."""
    centres = [joint.centre_in_child for joint in model.joints.values() if joint.child == name]
    if centres and centres[0] is not None and np.linalg.norm(centres[0]) > END_M / 4:
        return -centres[0]
    return np.array([0.0, -(model.segments[name].length or END_M), 0.0])
