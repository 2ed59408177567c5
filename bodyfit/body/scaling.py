"""Parts of a body model scaled to a person: lengths by stature, masses by body mass."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from .parts import Joint, Segment
from .person import Person, share_of


def times_share(share: Any, whole: float | None) -> Any:
    """Share × whole, or None when either is unknown."""
    return None if share is None or whole is None else share * whole


def _first(*values: Any) -> Any:
    """The first value that is known, or None."""
    return next((value for value in values if value is not None), None)


def stature_of(segment: Segment, person: Person) -> float | None:
    """The stature that a segment is scaled by: the person's, or the one that goes with a measured length."""
    share, measured = share_of(segment.length_of_stature, person), person.lengths_m.get(segment.name)
    return person.stature_m if share is None or measured is None else float(measured / share)


def scaled_segment(segment: Segment, person: Person, stature: float | None) -> Segment:
    """The segment in metres and kilograms, as far as its person is known."""
    length = _first(segment.length, times_share(share_of(segment.length_of_stature, person), stature))
    mass = _first(segment.mass, times_share(share_of(segment.mass_of_body, person), person.mass_kg))
    com = _first(segment.com, times_share(share_of(segment.com_of_length, person), length))
    radii = times_share(share_of(segment.gyration_of_length, person), length)
    squares = None if radii is None else np.diag(radii**2)
    return dataclasses.replace(
        segment,
        length=None if length is None else float(length),
        mass=None if mass is None else float(mass),
        com=com,
        inertia=_first(segment.inertia, times_share(squares, mass)),
    )


def resized_segment(segment: Segment, length: float | None, grown: float | None) -> Segment:
    """The segment at another length, its shape kept where the old length is known."""
    if length is None:
        return segment
    com, inertia = segment.com, segment.inertia
    if grown is not None:
        com, inertia = times_share(com, grown), times_share(inertia, grown**2)
    return dataclasses.replace(segment, length=float(length), com=com, inertia=inertia)


def scaled_joint(joint: Joint, person: Person, parent: float | None, child: float | None) -> Joint:
    """The joint with its centres in metres; a centre in the child that is not given is the child's origin."""
    in_parent = times_share(share_of(joint.centre_in_parent_of_stature, person), parent)
    in_child = times_share(share_of(joint.centre_in_child_of_stature, person), child)
    in_parent = _first(joint.centre_in_parent, in_parent)
    in_child = _first(joint.centre_in_child, in_child)
    if in_parent is not None and in_child is None:
        in_child = np.zeros(3)
    return dataclasses.replace(
        joint,
        centre_in_parent=in_parent,
        centre_in_child=in_child,
    )
