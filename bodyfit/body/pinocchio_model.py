"""The body as pinocchio knows it: a free-flying root and one spherical or revolute joint each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import InputError
from .parts import Joint, Segment

if TYPE_CHECKING:
    import pinocchio


def pinocchio_model(
    name: str, root: str, segments: Mapping[str, Segment], joints: Mapping[str, Joint]
) -> pinocchio.Model:
    """A body's pinocchio model; see `BodyModel.pinocchio`."""
    import pinocchio as pin

    model = pin.Model()
    model.name = name
    # where a segment's origin sits: its pinocchio joint, and the offset from that joint's frame
    origins = {root: (model.addJoint(0, pin.JointModelFreeFlyer(), pin.SE3.Identity(), root), np.zeros(3))}
    for joint in joints.values():
        if joint.centre_in_parent is None:
            raise InputError(
                f"joints.{joint.name}: its centre is unknown, expected centre_in_parent in metres"
            )
        carrier, offset = origins[joint.parent]
        at = offset + joint.centre_in_parent
        from_centre = np.zeros(3) if joint.centre_in_child is None else -np.asarray(joint.centre_in_child)
        if joint.type == "fixed":
            origins[joint.child] = (carrier, at + from_centre)
            continue
        placement = pin.SE3(np.eye(3), at)
        origins[joint.child] = (
            model.addJoint(carrier, _pinocchio_joint(joint), placement, joint.name),
            from_centre,
        )
    for segment, (carrier, offset) in origins.items():
        placement = pin.SE3(np.eye(3), offset)
        model.appendBodyToJoint(carrier, _pinocchio_inertia(segments[segment]), placement)
        model.addBodyFrame(segment, carrier, placement, 0)
    return model


def _pinocchio_joint(joint: Joint) -> Any:
    """The pinocchio joint for a type that moves."""
    import pinocchio as pin

    if joint.type == "ball":
        return pin.JointModelSpherical()
    if joint.type == "universal":
        first, second = (np.eye(3)["XYZ".index(axis)] for axis in joint.sequence[:2])
        return pin.JointModelUniversal(first, second)
    if joint.axis is None:
        raise InputError(f"joints.{joint.name}.axis: unknown, expected three numbers in the parent frame")
    return pin.JointModelRevoluteUnaligned(np.asarray(joint.axis) / np.linalg.norm(joint.axis))


def _pinocchio_inertia(segment: Segment) -> Any:
    """Mass, centre of mass and inertia about it; zero where unknown."""
    import pinocchio as pin

    com = np.zeros(3) if segment.com is None else segment.com
    inertia = np.zeros((3, 3)) if segment.inertia is None else segment.inertia
    return pin.Inertia(segment.mass or 0.0, com, inertia)
