"""A body whose joint centres are measured from a motion that holds segment positions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from ...errors import InputError
from ..anatomy import LEG_SEGMENTS
from ..chain import BodyModel
from ..parts import Joint
from ..person import Person

LEG_SHARE = 0.245 + 0.246  # thigh and shank as shares of stature, Drillis & Contini 1966


def measured_body(
    model: BodyModel, rotations: Mapping[str, Rotation], positions: Mapping[str, np.ndarray]
) -> BodyModel:
    """The model with its joint centres as the motion shows them.

    Parameters
    ----------
    model : tree
    rotations : segment -> length T, world_from_segment
    positions : segment -> (T, 3) m, segment origin, which is taken for its joint centre

    Returns
    -------
    model : `centre_in_parent` is the mean over time of the child's origin seen from the parent; lengths are
        the distance to the next joint where there is just one. Shares that are left are not used up

    Raises
    ------
    InputError
        A segment of the model has no position.
    """
    missing = [name for name in model.segments if name not in positions]
    if missing:
        raise InputError(f"motion: no position for segment {missing[0]!r}; model {model.name!r} needs it")
    joints = {}
    for name, joint in model.joints.items():
        arm = rotations[joint.parent].inv().apply(positions[joint.child] - positions[joint.parent])
        joints[name] = replace(joint, centre_in_parent=arm.mean(axis=0), centre_in_child=np.zeros(3))
    segments = {
        name: replace(segment, length=_length(joints.values(), name) or segment.length)
        for name, segment in model.segments.items()
    }
    return replace(model, segments=segments, joints=joints)


def _length(joints: Iterable[Joint], segment: str) -> float | None:
    carried = [joint.centre_in_parent for joint in joints if joint.parent == segment]
    return float(np.linalg.norm(carried[0])) if len(carried) == 1 else None  # type: ignore[arg-type]


def person_from_legs(model: BodyModel) -> Person | None:
    """The person whose legs are as long as those of a measured body, or None when it has no whole leg.

    Stature is the mean leg length over the share that thigh and shank take: 0.491 (Drillis & Contini 1966).
    """
    legs = [
        sum(model.segments[f"{side}_{part}"].length or np.nan for part in LEG_SEGMENTS)
        for side in "lr"
        if {f"{side}_{part}" for part in LEG_SEGMENTS} <= set(model.segments)
    ]
    return Person(stature_m=round(float(np.mean(legs)) / LEG_SHARE, 3)) if legs else None
