"""The same joint told by other angles: a shoulder by flexion, abduction and rotation."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import numpy as np
from scipy.spatial.transform import Rotation

from ...errors import InputError, suggest
from ..anatomy import side_and_part, standard_angles
from ..chain import BodyModel
from ..parts import Joint
from .joint_angles import joint_angles, rotation_from_angles

# part -> word -> intrinsic sequence, names, signs on the right side. ISB's Y-X-Y (Wu et al. 2005, 2.4.7)
# has its pole where the arm hangs; three different axes have it where the second angle is ±90°: an arm
# level to the side for "flexion", to the front for "abduction". Which to take: Senk & Cheze 2006,
# Phadke 2011 (from memory)
REPORTS = {
    "shoulder": {
        "elevation": ("YXY", ("plane_of_elevation", "elevation", "axial_rotation"), (1, 1, 1)),
        "flexion": ("ZXY", ("flexion", "abduction", "internal_rotation"), (1, -1, 1)),
        "abduction": ("XZY", ("abduction", "flexion", "internal_rotation"), (-1, 1, 1)),
    }
}
WORDS = tuple(dict.fromkeys(word for words in REPORTS.values() for word in words))


def with_reports(model: BodyModel, words: Mapping[str, str]) -> BodyModel:
    """The same body, some of its joints told by other angles; nothing else about them changes.

    Parameters
    ----------
    model : any
    words : joint -> "elevation" (plane of elevation, elevation, axial rotation), "flexion" (flexion, then
        abduction, then rotation) or "abduction" (abduction, then flexion, then rotation)

    Returns
    -------
    BodyModel; ranges of angles that are no longer told are left out: those of one sequence are not those of
    another. Poses are the same rotations in the new angles

    Raises
    ------
    InputError
        There is no such joint, word, or report of that joint; or its angles are not the standard ones.
    """
    joints = {name: told_by(_joint(model, name), word) for name, word in words.items()}
    changed = {name: joint for name, joint in joints.items() if joint is not model.joints[name]}
    poses = {
        pose: {name: _turned(model.joints[name], changed.get(name), its) for name, its in held.items()}
        for pose, held in model.poses.items()
    }
    return dataclasses.replace(model, joints={**model.joints, **changed}, poses=poses)


def told_by(joint: Joint, word: str) -> Joint:
    """The joint with the angles of one of its reports.

    Raises
    ------
    InputError
        It has no such report, or its angles are not the standard ones.
    """
    side, part = side_and_part(joint.name)
    known = REPORTS.get(part, {}) if side else {}
    where = f"joints.{joint.name}.report"
    if not known:
        can = ", ".join(f"l_{part}, r_{part}" for part in REPORTS)
        raise InputError(f"{where}: found {word!r}; only {can} can be told in another way: remove this key")
    if word not in known:
        raise InputError(f"{where}: found {word!r}; {suggest(word, known)}")
    if (joint.sequence, joint.angles, joint.signs) != standard_angles(joint.name):
        raise InputError(
            f"{where}: found sequence {joint.sequence!r} with angles of its own beside it; expected one "
            "of the two: remove report, or sequence, angles and signs"
        )
    sequence, angles, signs = known[word]
    if sequence == joint.sequence:
        return joint
    if side == "l":  # the mirror image
        signs = tuple(s if axis == "Z" else -s for s, axis in zip(signs, sequence, strict=True))
    first, second, third = signs
    return dataclasses.replace(
        joint,
        sequence=sequence,
        angles=angles,
        signs=(first, second, third),
        range={},
        stiffness={},
        range_source="",
    )


def _joint(model: BodyModel, name: str) -> Joint:
    if name not in model.joints:
        raise InputError(
            f"joints.{name}: no such joint in body {model.name!r}; {suggest(name, model.joints)}"
        )
    return model.joints[name]


def _turned(old: Joint, new: Joint | None, angles: Mapping[str, float]) -> dict[str, float]:
    """The angles of a pose, in those that are told now."""
    if new is None:
        return dict(angles)
    R: Rotation = rotation_from_angles(old, angles)
    return {name: float(np.round(value, 12)) for name, value in joint_angles(new, R.as_matrix()).items()}
