"""How long a segment is and which points it joins, for what is drawn and for what may touch, m."""

from __future__ import annotations

import numpy as np

from .chain import BodyModel

DEFAULT_LENGTH = (
    0.2  # m, where neither a length nor a second joint centre says how long a segment is; chosen; not tried
)


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
