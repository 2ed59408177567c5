"""The jointed body: segments, joints, ranges, and its pinocchio model."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from .errors import InputError, suggest
from .isb import standard_angles as standard_angles
from .person import SEXES as SEXES
from .person import Fraction, share_of
from .person import Person as Person

if TYPE_CHECKING:
    import pinocchio

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
        return self.sequence[0] == "Z" and (stiff or self.name in ("l_knee", "r_knee"))

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


@dataclass(frozen=True, eq=False)
class BodyModel:
    """Segments and joints, a tree with one root; joints are kept in order from the root outwards.

    Attributes
    ----------
    segments, joints : by name
    source : where the numbers come from
    poses : name -> joint -> angle -> rad, postures that people can be asked to hold, trunk upright; what is
        left out is zero. "neutral", all zero, every model has

    Raises
    ------
    InputError
        A joint names a segment that is not there, a segment is the child of two joints, the joints form a
        cycle, or there are two roots.
    """

    name: str
    segments: Mapping[str, Segment]
    joints: Mapping[str, Joint]
    source: str = ""
    poses: Mapping[str, Mapping[str, Mapping[str, float]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "joints", _from_root_outwards(self.name, self.segments, self.joints))
        for pose, joints in self.poses.items():
            _check_pose(f"poses.{pose}", joints, self.joints)

    @property
    def pose_names(self) -> tuple[str, ...]:
        """Names of all poses, neutral first."""
        return ("neutral", *(name for name in self.poses if name != "neutral"))

    @property
    def root(self) -> str:
        """Name of the segment that is no joint's child."""
        children = {joint.child for joint in self.joints.values()}
        return next(name for name in self.segments if name not in children)

    def scaled(self, person: Person | None = None) -> BodyModel:
        """The model in metres and kilograms, for one person; needs no person when it holds no shares.

        Parameters
        ----------
        person : stature, mass, sex and measured lengths; each may be unknown

        Returns
        -------
        model : numbers that are known stay, shares fill the others. Without a stature, lengths and joint
            centres given as shares stay None; without a body mass, masses do; without a sex, a share is the
            mean of female and male. A segment whose length was measured takes that length, and what lies in
            its frame goes along: its joint centres, its centre of mass

        Raises
        ------
        InputError
            A measured length is of a segment that the model does not have.
        """
        person = person or Person()
        self._check_segments("person.lengths_m", person.lengths_m)
        stature = {name: _stature_of(segment, person) for name, segment in self.segments.items()}
        segments = {n: _scaled_segment(s, person, stature[n]) for n, s in self.segments.items()}
        joints = {
            n: _scaled_joint(j, person, stature[j.parent], stature[j.child]) for n, j in self.joints.items()
        }
        return dataclasses.replace(self, segments=segments, joints=joints).resized(person.lengths_m)

    def resized(self, lengths: Mapping[str, float]) -> BodyModel:
        """The model with segments of other lengths; what lies in a segment's frame goes along.

        Parameters
        ----------
        lengths : segment name -> m

        Returns
        -------
        model : joint centres, centres of mass and inertia of these segments scaled with the length; masses
            stay. Of a segment whose length was unknown only the length changes

        Raises
        ------
        InputError
            The model has no such segment.
        """
        self._check_segments("lengths", lengths)
        old = {name: self.segments[name].length for name in lengths}
        grown = {name: lengths[name] / length for name, length in old.items() if length}
        segments = {n: _resized_segment(s, lengths.get(n), grown.get(n)) for n, s in self.segments.items()}
        joints = {
            name: dataclasses.replace(
                joint,
                centre_in_parent=_times(joint.centre_in_parent, grown.get(joint.parent, 1.0)),
                centre_in_child=_times(joint.centre_in_child, grown.get(joint.child, 1.0)),
            )
            for name, joint in self.joints.items()
        }
        return dataclasses.replace(self, segments=segments, joints=joints)

    def _check_segments(self, where: str, names: Iterable[str]) -> None:
        """Refuses names of segments that the model does not have."""
        for name in names:
            if name not in self.segments:
                raise InputError(
                    f"{where}: model {self.name!r} has no segment {name!r}; {suggest(name, self.segments)}"
                )

    def pinocchio(self) -> pinocchio.Model:
        """The model as pinocchio sees it: a free-flying root, then the joints in this model's order.

        Returns
        -------
        model : pinocchio.Model with one body frame per segment, of the segment's name, at its origin.
            A configuration holds root position (3, m), root quaternion xyzw (4), then per joint: hinge 1
            angle about its axis, universal 2 angles about the sequence's first two axes, ball 1 quaternion
            xyzw (4), fixed nothing. A segment of unknown mass is massless; unknown inertia is zero.

        Raises
        ------
        InputError
            A joint centre or a hinge axis is unknown.
        """
        return _pinocchio_model(self)


def _check_pose(where: str, posed: Mapping[str, Mapping[str, float]], joints: Mapping[str, Joint]) -> None:
    """Every joint and angle of a pose is in the model."""
    for name, angles in posed.items():
        if name not in joints:
            raise InputError(f"{where}: found joint {name!r}; {suggest(name, joints)}")
        for angle in angles:
            if angle not in joints[name].angles:
                raise InputError(f"{where}.{name}: found {angle!r}; {suggest(angle, joints[name].angles)}")


def _from_root_outwards(
    name: str, segments: Mapping[str, Segment], joints: Mapping[str, Joint]
) -> dict[str, Joint]:
    """The joints, each after the joint that carries its parent."""
    if not segments:
        raise InputError(f"model {name!r}: it has no segments, expected at least one")
    _check_ends(name, segments, joints)
    children = [joint.child for joint in joints.values()]
    reached = [segment for segment in segments if segment not in children]
    if len(reached) > 1:
        raise InputError(
            f"model {name!r}: found {len(reached)} roots ({', '.join(reached)}), expected one segment that "
            "is no joint's child; add the joints that tie the others to it"
        )
    ordered: dict[str, Joint] = {}
    while more := [j for j in joints.values() if j.parent in reached and j.name not in ordered]:
        ordered |= {joint.name: joint for joint in more}
        reached += [joint.child for joint in more]
    if left := [joint for joint in joints if joint not in ordered]:
        raise InputError(
            f"model {name!r}: joints {', '.join(left)} form a cycle, expected a tree; remove the joint that "
            "closes it"
        )
    return ordered


def _check_ends(name: str, segments: Mapping[str, Segment], joints: Mapping[str, Joint]) -> None:
    """Every joint's parent and child exist, and no segment is a child twice."""
    owner: dict[str, str] = {}
    for joint in joints.values():
        for end, segment in (("parent", joint.parent), ("child", joint.child)):
            if segment not in segments:
                where = f"model {name!r}: joints.{joint.name}.{end}"
                raise InputError(f"{where}: found {segment!r}; {suggest(segment, segments)}")
        if joint.child in owner:
            raise InputError(
                f"model {name!r}: joints {owner[joint.child]} and {joint.name} both have the child "
                f"{joint.child!r}, expected one joint per child"
            )
        owner[joint.child] = joint.name


def _times(share: Any, whole: float | None) -> Any:
    """Share × whole, or None when either is unknown."""
    return None if share is None or whole is None else share * whole


def _first(*values: Any) -> Any:
    """The first value that is known, or None."""
    return next((value for value in values if value is not None), None)


def _stature_of(segment: Segment, person: Person) -> float | None:
    """The stature that a segment is scaled by: the person's, or the one that goes with a measured length."""
    share, measured = share_of(segment.length_of_stature, person), person.lengths_m.get(segment.name)
    return person.stature_m if share is None or measured is None else float(measured / share)


def _scaled_segment(segment: Segment, person: Person, stature: float | None) -> Segment:
    """The segment in metres and kilograms, as far as its person is known."""
    length = _first(segment.length, _times(share_of(segment.length_of_stature, person), stature))
    mass = _first(segment.mass, _times(share_of(segment.mass_of_body, person), person.mass_kg))
    com = _first(segment.com, _times(share_of(segment.com_of_length, person), length))
    radii = _times(share_of(segment.gyration_of_length, person), length)
    squares = None if radii is None else np.diag(radii**2)
    return dataclasses.replace(
        segment,
        length=None if length is None else float(length),
        mass=None if mass is None else float(mass),
        com=com,
        inertia=_first(segment.inertia, _times(squares, mass)),
    )


def _resized_segment(segment: Segment, length: float | None, grown: float | None) -> Segment:
    """The segment at another length, its shape kept where the old length is known."""
    if length is None:
        return segment
    com, inertia = segment.com, segment.inertia
    if grown is not None:
        com, inertia = _times(com, grown), _times(inertia, grown**2)
    return dataclasses.replace(segment, length=float(length), com=com, inertia=inertia)


def _scaled_joint(joint: Joint, person: Person, parent: float | None, child: float | None) -> Joint:
    """The joint with its centres in metres; a centre in the child that is not given is the child's origin."""
    in_parent = _times(share_of(joint.centre_in_parent_of_stature, person), parent)
    in_child = _times(share_of(joint.centre_in_child_of_stature, person), child)
    in_parent = _first(joint.centre_in_parent, in_parent)
    in_child = _first(joint.centre_in_child, in_child)
    if in_parent is not None and in_child is None:
        in_child = np.zeros(3)
    return dataclasses.replace(
        joint,
        centre_in_parent=in_parent,
        centre_in_child=in_child,
    )


def _pinocchio_model(body: BodyModel) -> pinocchio.Model:
    """See `BodyModel.pinocchio`."""
    import pinocchio as pin

    model = pin.Model()
    model.name = body.name
    # where a segment's origin sits: its pinocchio joint, and the offset from that joint's frame
    origins = {
        body.root: (model.addJoint(0, pin.JointModelFreeFlyer(), pin.SE3.Identity(), body.root), np.zeros(3))
    }
    for joint in body.joints.values():
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
    for name, (carrier, offset) in origins.items():
        placement = pin.SE3(np.eye(3), offset)
        model.appendBodyToJoint(carrier, _pinocchio_inertia(body.segments[name]), placement)
        model.addBodyFrame(name, carrier, placement, 0)
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
