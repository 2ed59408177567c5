"""The jointed body: segments, joints, ranges, and its pinocchio model."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from ..core.cards import Card, Shown
from ..errors import InputError, suggest
from .parts import Joint, Segment
from .person import Person
from .pinocchio_model import pinocchio_model
from .scaling import resized_segment, scaled_joint, scaled_segment, stature_of, times_share

if TYPE_CHECKING:
    import pinocchio

    from .usual_postures import UsualPosture


@dataclass(frozen=True, eq=False, repr=False)
class BodyModel(Shown):
    """Segments and joints, a tree with one root; joints are kept in order from the root outwards.

    Attributes
    ----------
    segments, joints : by name
    source : where the numbers come from
    poses : name -> joint -> angle -> rad, postures that people can be asked to hold, trunk upright; what is
        left out is zero. "neutral", all zero, every model has
    usual_postures : joint -> where it usually is, believed beside segments without a unit

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
    usual_postures: Mapping[str, UsualPosture] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "joints", _from_root_outwards(self.name, self.segments, self.joints))
        for pose, joints in self.poses.items():
            _check_pose(f"poses.{pose}", joints, self.joints)

    def _card(self) -> Card:
        facts = (f"segments {', '.join(self.segments)}", f"poses {', '.join(self.pose_names)}")
        rows = tuple((n, j.type, j.parent, j.child, ", ".join(j.angles)) for n, j in self.joints.items())
        return Card(f"Body {self.name}", facts, ("joint", "type", "parent", "child", "angles"), rows)

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
        stature = {name: stature_of(segment, person) for name, segment in self.segments.items()}
        segments = {n: scaled_segment(s, person, stature[n]) for n, s in self.segments.items()}
        joints = {
            n: scaled_joint(j, person, stature[j.parent], stature[j.child]) for n, j in self.joints.items()
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
        segments = {n: resized_segment(s, lengths.get(n), grown.get(n)) for n, s in self.segments.items()}
        joints = {
            name: dataclasses.replace(
                joint,
                centre_in_parent=times_share(joint.centre_in_parent, grown.get(joint.parent, 1.0)),
                centre_in_child=times_share(joint.centre_in_child, grown.get(joint.child, 1.0)),
            )
            for name, joint in self.joints.items()
        }
        return dataclasses.replace(self, segments=segments, joints=joints)

    def without_usual_postures(self, joints: Iterable[str] | None = None) -> BodyModel:
        """The model without the usual postures of some joints: a prosthesis, a cast, a wheelchair.

        Parameters
        ----------
        joints : names; None: of all joints

        Returns
        -------
        model

        Raises
        ------
        InputError
            The model does not have such a joint.
        """
        named = set(self.usual_postures if joints is None else joints)
        for name in sorted(named - set(self.joints)):
            raise InputError(
                f"usual postures: no joint {name!r} in {self.name!r}; {suggest(name, self.joints)}"
            )
        kept = {name: usual for name, usual in self.usual_postures.items() if name not in named}
        return dataclasses.replace(self, usual_postures=kept)

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
        return pinocchio_model(self.name, self.root, self.segments, self.joints)


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
