"""Segments and joints: the parts that a body model is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ..errors import InputError, suggest
from .anatomy import KNEES
from .person import Fraction

JOINT_TYPES = ("hinge", "universal", "ball", "fixed")
SEQUENCES = tuple(a + b + c for a in "XYZ" for b in "XYZ" for c in "XYZ" if a != b != c)


@dataclass(frozen=True, eq=False)
class Segment:
    """One rigid part: X forward, Y towards the head, Z right; origin at its proximal joint centre.

    Attributes
    ----------
    length : m, or None when unknown
    mass : kg, or None
    com : (3,) m in the segment frame, or None
    inertia : (3, 3) kg m² about the centre of mass, segment axes, or None
    mesh : path of a mesh file, or None for a simple shape
    source : where the numbers come from
    length_of_stature : length as a share of stature
    mass_of_body : mass as a share of body mass
    com_of_length : centre of mass (x, y, z) as shares of the length
    gyration_of_length : radii of gyration about x, y, z through the centre of mass, shares of the length

    The last four are for `BodyModel.scaled`; a number given in m or kg wins over its share.
    """

    name: str
    length: float | None = None
    mass: float | None = None
    com: np.ndarray | None = None
    inertia: np.ndarray | None = None
    mesh: str | None = None
    source: str = ""
    length_of_stature: Fraction | None = None
    mass_of_body: Fraction | None = None
    com_of_length: Fraction | None = None
    gyration_of_length: Fraction | None = None


@dataclass(frozen=True, eq=False)
class Joint:
    """What ties a child segment to its parent.

    Attributes
    ----------
    type : hinge | universal | ball | fixed; universal turns about the first two axes of `sequence`
    axis : (3,) unit vector in the parent frame (hinge), or None: found from the motion
    centre_in_parent, centre_in_child : (3,) m, or None when unknown
    sequence : intrinsic Euler/Cardan axes, e.g. "ZXY"
    angles : three names, one per axis of the sequence
    signs : three of ±1; reported angle = sign × rotation about the sequence's axis
    range : angle name -> (low, high) rad; absent where no range is known
    stiffness : angle name -> prior standard deviation about neutral, rad
    range_source : where the ranges come from
    centre_in_parent_of_stature, centre_in_child_of_stature : (x, y, z) as shares of stature, for
        `BodyModel.scaled`
    """

    name: str
    parent: str
    child: str
    type: str = "ball"
    axis: np.ndarray | None = None
    centre_in_parent: np.ndarray | None = None
    centre_in_child: np.ndarray | None = None
    sequence: str = "ZXY"
    angles: tuple[str, str, str] = ("flexion", "adduction", "internal_rotation")
    signs: tuple[int, int, int] = (1, 1, 1)
    range: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    stiffness: Mapping[str, float] = field(default_factory=dict)
    source: str = ""
    range_source: str = ""
    centre_in_parent_of_stature: Fraction | None = None
    centre_in_child_of_stature: Fraction | None = None

    @property
    def flexes_only(self) -> bool:
        """Whether it moves like a hinge about its first, left-to-right axis: a knee, or two stiff angles."""
        stiff = all(angle in self.stiffness for angle in self.angles[1:])
        return self.sequence[0] == "Z" and (stiff or self.name in KNEES)

    def __post_init__(self) -> None:
        where = f"joints.{self.name}"
        if self.type not in JOINT_TYPES:
            raise InputError(f"{where}.type: found {self.type!r}; {suggest(self.type, JOINT_TYPES)}")
        if self.sequence not in SEQUENCES:
            raise InputError(
                f"{where}.sequence: found {self.sequence!r}; {suggest(self.sequence, SEQUENCES)}"
            )
        if len(set(self.angles)) != 3 or len(self.angles) != 3:
            raise InputError(f"{where}.angles: found {list(self.angles)}, expected three different names")
        if len(self.signs) != 3 or any(sign not in (1, -1) for sign in self.signs):
            raise InputError(f"{where}.signs: found {list(self.signs)}, expected three of 1 or -1")
        for key in ("range", "stiffness"):
            for angle in getattr(self, key):
                if angle not in self.angles:
                    raise InputError(f"{where}.{key}: found {angle!r}; {suggest(angle, self.angles)}")
