"""A motion: one rotation per segment and time, and what follows from it with the body model."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial.transform import Rotation

from ...core.arrays.scratch import let_go, room, rows_at_once
from ...core.cards import Card, Shown, counted
from ...errors import InputError, suggest
from ..chain import BodyModel
from ..parts import Joint
from .joint_angles import angles_from_matrix, joint_angles, rotation_from_angles, wrap


@dataclass(frozen=True, eq=False, repr=False)
class PoseSequence(Shown):
    """Every segment's rotation over time, with joint angles and positions derived from it.

    Attributes
    ----------
    time : (T,) s
    rotations : segment name -> Rotation of length T, world_from_segment; every segment of the model
    model : the body, scaled (metres and kilograms)
    root_position : (T, 3) m, origin of the root segment in the world, or None: it stays at zero

    Raises
    ------
    InputError
        A segment has no rotation, or a length is not T.
    """

    time: np.ndarray
    rotations: Mapping[str, Rotation]
    model: BodyModel
    root_position: np.ndarray | None = None

    def __post_init__(self) -> None:
        count = len(self.time)
        for name in self.model.segments:
            if name not in self.rotations:
                raise InputError(f"rotations: segment {name!r} of model {self.model.name!r} is missing")
            _check_length(f"rotations[{name!r}]", _length(self.rotations[name]), count)
        if self.root_position is not None and np.shape(self.root_position) != (count, 3):
            raise InputError(
                f"root_position: found shape {np.shape(self.root_position)}, expected ({count}, 3)"
            )

    @cached_property
    def matrices(self) -> dict[str, np.ndarray]:
        """Segment name -> (T, 3, 3) matrices, world_from_segment."""
        return {name: self.rotations[name].as_matrix() for name in self.model.segments}

    @cached_property
    def joint_angles(self) -> dict[str, dict[str, np.ndarray]]:
        """Joint name -> angle name -> (T,) rad, in the joint's own sequence, names and signs."""
        joints, count = self.model.joints, len(self.time)
        whole = room((sum(len(joint.angles) for joint in joints.values()), count))
        rows, out = iter(whole), dict[str, dict[str, np.ndarray]]()
        for name, joint in joints.items():
            out[name] = {angle: next(rows) for angle in joint.angles}
            parent, child = self.rotations[joint.parent], self.rotations[joint.child]
            for at in rows_at_once(count):
                for angle, values in joint_angles(joint, _between(parent[at], child[at])).items():
                    out[name][angle][at] = values
            let_go(whole)
        return out

    @cached_property
    def positions(self) -> dict[str, np.ndarray] | None:
        """Segment name -> (T, 3) m, segment origin in the world; None when a joint centre is unknown.

        Each joint holds its two centres together: p_child = p_parent + R_parent c_parent − R_child c_child.
        """
        if any(joint.centre_in_parent is None for joint in self.model.joints.values()):
            return None
        root = np.zeros((len(self.time), 3)) if self.root_position is None else self.root_position
        segments = self.model.segments
        positions = dict(zip(segments, room((len(segments), len(self.time), 3)), strict=True))
        positions[self.model.root][:] = root
        for joint in self.model.joints.values():
            centre = positions[joint.parent] + self.rotations[joint.parent].apply(joint.centre_in_parent)
            in_child = np.zeros(3) if joint.centre_in_child is None else joint.centre_in_child
            positions[joint.child][:] = centre - self.rotations[joint.child].apply(in_child)
            let_go(positions[joint.child])
        return positions

    def let_go(self) -> None:
        """Takes what was derived and lies on the disk out of memory until it is next read."""
        derived = vars(self)  # what was asked for so far
        let_go(*(values for angles in derived.get("joint_angles", {}).values() for values in angles.values()))
        let_go(*(derived.get("positions") or {}).values())

    def _card(self) -> Card:
        count = len(self.time)
        span = f", {self.time[0]:.2f} to {self.time[-1]:.2f} s" if count else ""
        joints = tuple((name, ", ".join(joint.angles)) for name, joint in self.model.joints.items())
        facts = (f"{counted(count, 'frame')}{span}", f"segments {', '.join(self.model.segments)}")
        return Card(f"Motion of {self.model.name}", facts, ("joint", "angles"), joints)

    def between(self, start: float, end: float) -> PoseSequence:
        """The same motion with only what happened in start ≤ time ≤ end (s).

        Raises
        ------
        InputError
            None of it did.
        """
        kept = (self.time >= start - 1e-9) & (self.time <= end + 1e-9)
        if not kept.any():
            raise InputError(
                f"between({start:g}, {end:g}): found a motion of {self.time[0]:g} to {self.time[-1]:g} s; "
                "expected some of that time"
            )
        rotations = {name: Rotation.from_quat(R.as_quat()[kept]) for name, R in self.rotations.items()}
        root = None if self.root_position is None else self.root_position[kept]
        return PoseSequence(self.time[kept], rotations, self.model, root)

    def centre_of_mass(self) -> np.ndarray:
        """Centre of mass of all segments.

        Returns
        -------
        (T, 3) array, m, world

        Raises
        ------
        InputError
            A joint centre, a mass or a centre of mass is unknown.
        """
        positions, segments = self.positions, self.model.segments
        unknown = [name for name, segment in segments.items() if segment.mass is None or segment.com is None]
        if positions is None or unknown:
            raise InputError(
                f"model {self.model.name!r}: the centre of mass needs every joint centre, mass and centre of "
                f"mass{'; unknown for ' + ', '.join(unknown) if unknown else ''}; give the person's stature "
                "and mass, or the numbers in the model file"
            )
        masses = np.array([segment.mass for segment in segments.values()], float)
        centres = [positions[n] + self.matrices[n] @ np.asarray(s.com) for n, s in segments.items()]
        return np.tensordot(masses, centres, axes=1) / masses.sum()

    def configurations(self) -> np.ndarray:
        """Configurations of `model.pinocchio()`, one row per time; the layout is written there.

        Returns
        -------
        (T, nq) array. Of a rotation that the joint's type does not allow, a hinge keeps the nearest turn
        about its axis, a universal joint the sequence's first two angles.
        """
        root = np.zeros((len(self.time), 3)) if self.root_position is None else self.root_position
        parts = [root, self.rotations[self.model.root].as_quat()]
        parts += [
            _coordinates(joint, _relative(self.rotations, joint)) for joint in self.model.joints.values()
        ]
        return np.concatenate(parts, axis=1)


def held_pose(model: BodyModel, name: str) -> dict[str, np.ndarray]:
    """Segment rotations of a named pose, the root upright and facing +X.

    Parameters
    ----------
    model : with the pose among its `poses`; "neutral" every model has
    name : of the pose

    Returns
    -------
    segment name -> (3, 3) world_from_segment

    Raises
    ------
    InputError
        The model does not know the pose.
    """
    if name != "neutral" and name not in model.poses:
        raise InputError(f"pose: model {model.name!r} has no {name!r}; {suggest(name, model.pose_names)}")
    angles = {} if name == "neutral" else model.poses[name]
    out = {model.root: np.eye(3)}
    for joint in model.joints.values():
        out[joint.child] = (
            out[joint.parent] @ rotation_from_angles(joint, angles.get(joint.name, {})).as_matrix()
        )
    return out


def from_joint_angles(
    model: BodyModel,
    time: np.ndarray,
    angles: Mapping[str, Mapping[str, np.ndarray | float]],
    root_rotation: Rotation | None = None,
    root_position: np.ndarray | None = None,
) -> PoseSequence:
    """The motion with these joint angles.

    Parameters
    ----------
    model : the body, scaled
    time : (T,) s
    angles : joint name -> angle name -> (T,) array or number, rad; what is left out stays at zero
    root_rotation : of length T, world_from_root, or None: the identity
    root_position : (T, 3) m, or None

    Returns
    -------
    PoseSequence

    Raises
    ------
    InputError
        A joint or an angle that the model does not have.
    """
    _check_names(model, angles)
    count = len(time)
    root = Rotation.identity(count) if root_rotation is None else root_rotation
    rotations = {model.root: root}
    for name, joint in model.joints.items():
        full = {angle: np.broadcast_to(angles.get(name, {}).get(angle, 0.0), count) for angle in joint.angles}
        rotations[joint.child] = rotations[joint.parent] * rotation_from_angles(joint, full)
    return PoseSequence(np.asarray(time, float), rotations, model, root_position)


def _relative(rotations: Mapping[str, Rotation], joint: Joint) -> np.ndarray:
    """(T, 3, 3) parent_from_child."""
    return _between(rotations[joint.parent], rotations[joint.child])


def _between(parent: Rotation, child: Rotation) -> np.ndarray:
    """(T, 3, 3) parent_from_child."""
    return np.swapaxes(parent.as_matrix(), -1, -2) @ child.as_matrix()


def _coordinates(joint: Joint, R: np.ndarray) -> np.ndarray:
    """(T, n) joint coordinates: turns about the axis, two angles, a quaternion xyzw, or nothing."""
    if joint.type == "hinge":
        if joint.axis is None:
            raise InputError(f"joints.{joint.name}.axis: unknown, expected three numbers in the parent frame")
        quat = Rotation.from_matrix(R).as_quat()
        twist = np.arctan2(quat[:, :3] @ joint.axis / np.linalg.norm(joint.axis), quat[:, 3])
        return wrap(2 * twist)[:, None]
    if joint.type == "universal":
        return angles_from_matrix(R, joint.sequence, -joint.signs[1])[:, :2]
    return Rotation.from_matrix(R).as_quat() if joint.type == "ball" else np.empty((len(R), 0))


def _length(rotation: Rotation) -> int | None:
    """How many rotations, or None for a single one."""
    return None if rotation.single else len(rotation)


def _check_length(what: str, found: int | None, expected: int) -> None:
    """Refuses a number of rows that is not that of the time stamps."""
    if found != expected:
        raise InputError(
            f"{what}: found {'a single rotation' if found is None else found}, expected {expected}"
        )


def _check_names(model: BodyModel, angles: Mapping[str, Mapping[str, object]]) -> None:
    """Refuses joints and angles that the model does not have."""
    for name, named in angles.items():
        if name not in model.joints:
            raise InputError(
                f"angles: no joint {name!r} in model {model.name!r}; {suggest(name, model.joints)}"
            )
        for angle in named:
            allowed = model.joints[name].angles
            if angle not in allowed:
                raise InputError(f"angles[{name!r}]: no angle {angle!r}; {suggest(angle, allowed)}")
