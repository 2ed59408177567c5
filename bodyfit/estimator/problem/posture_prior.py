"""Postures: where joints beside segments without a unit usually are, and how far from there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial.transform import Rotation

from ...body.anatomy import USUAL_DEG, part_of
from ...body.motion.joint_angles import joint_angles
from ...body.parts import Joint
from ...body.usual_postures import UsualPosture
from ...core.rotations import exp

if TYPE_CHECKING:
    from ...weights import Weights
    from .tie import Tie

ACROSS = [0, 2]  # components of a turn that change where a segment's length, along Y, points; by definition
SHARE = 0.25  # of its range, one standard deviation of an angle: two to either side fill it; by reasoning


@dataclass(frozen=True, eq=False)
class Postures:
    """What is known beforehand of the joints beside segments without a unit.

    Attributes
    ----------
    ends : (L, 2) units, parent and child
    usual : (L, 3, 3) child's rotation against the parent's
    whiten : (L, 3, 3) 1/rad, one over the deviation from that in the course of a motion
    offset_sd : (L, 3) rad, how far a person's own usual posture is from it, about the parent's axes
    ties : (L,) numbers of these joints
    angles : (L, 3) rad, joint angles of the usual posture
    stiff : (L, 3) rad, how far an angle may be from there whatever the others are; infinite: as far as the
        usual posture lets it
    directions : (L,) bool, whether only the direction of the child's length counts, not the turn about it
    """

    ends: np.ndarray
    usual: np.ndarray
    whiten: np.ndarray
    offset_sd: np.ndarray
    ties: np.ndarray
    angles: np.ndarray
    stiff: np.ndarray
    directions: np.ndarray


def postures(
    ties: Sequence[Tie],
    measured: np.ndarray,
    weights: Weights,
    usual_postures: Mapping[str, UsualPosture] | None = None,
) -> Postures:
    """Postures of all joints that lack a unit at one of their ends.

    Parameters
    ----------
    ties : joints between the units
    measured : (U,) bool, units that carry any sensor
    weights : standard deviations
    usual_postures : joint -> where people's usually is; None: of no joint

    Returns
    -------
    Postures
    """
    at = [i for i, tie in enumerate(ties) if not (measured[tie.parent] and measured[tie.child])]
    loose, table = [ties[i] for i in at], usual_postures or {}
    each = [
        _tabled(table[tie.joint.name], weights) if tie.joint.name in table else _of(tie.joint, weights)
        for tie in loose
    ]
    usual, whiten, offset = ([one[i] for one in each] for i in range(3))
    angles = [_angles(tie.joint, turn) for tie, turn in zip(loose, usual, strict=True)]
    stiff = [_stiff(tie.joint, weights, tie.joint.name in table) for tie in loose]
    return Postures(
        np.array([[tie.parent, tie.child] for tie in loose], int).reshape(-1, 2),
        np.array(usual).reshape(-1, 3, 3),
        np.array(whiten).reshape(-1, 3, 3),
        np.array(offset).reshape(-1, 3),
        np.array(at, int),
        np.array(angles).reshape(-1, 3),
        np.array(stiff).reshape(-1, 3),
        np.zeros(len(loose), bool),
    )


def _tabled(usual: UsualPosture, w: Weights) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What a table of recorded people says of one joint, widened.

    Lᵀ L = (s² (W + f² I))⁻¹ with W its covariance within a motion, s `usual_spread`, f `usual_floor`; a
    person's own mean is off by √(B + p²), B its variance between motions, p `usual_person`.
    """
    covariance = w.usual_spread**2 * (usual.within + w.usual_floor**2 * np.eye(3))
    whiten = np.linalg.cholesky(np.linalg.inv(covariance)).T
    return exp(usual.turn), whiten, np.hypot(usual.between, w.usual_person)


def _angles(joint: Joint, turn: np.ndarray) -> list[float]:
    """Rad, joint angles of one posture."""
    found = joint_angles(joint, turn)
    return [float(found[name]) for name in joint.angles]


def _stiff(joint: Joint, w: Weights, tabled: bool) -> list[float]:
    """Rad, √(k² + p²), k the model's stiffness of each angle, p `usual_person`; infinite where it has none.

    A table tells of rotation vectors, which mix an elbow's carrying angle with its flexion and pronation far
    from the mean. `_of` counts the stiffness by itself.
    """
    known = joint.stiffness if tabled else {}
    return [float(np.hypot(known[a], w.usual_person)) if a in known else np.inf for a in joint.angles]


def _of(joint: Joint, w: Weights) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Usual rotation, one over its spread, and spread between people of one joint."""
    still = np.eye(3) / w.hinge_declared
    if joint.type == "fixed":
        return np.eye(3), still, np.zeros(3) + w.hinge_declared
    if joint.type == "hinge" and joint.axis is not None:
        along = np.outer(joint.axis, joint.axis) / np.dot(joint.axis, joint.axis)
        return np.eye(3), along / w.posture + (np.eye(3) - along) @ still, np.full(3, w.hinge_declared)
    if joint.sequence[0] == joint.sequence[2]:
        return np.eye(3), np.eye(3) / w.posture, np.full(3, w.offset)
    sd, mean = np.full(3, w.posture), np.zeros(3)
    for n, name in enumerate(joint.angles):
        axis = "XYZ".index(joint.sequence[n])
        if name in joint.stiffness:
            sd[axis] = np.hypot(joint.stiffness[name], w.offset)  # a hinge off by that much swings aside
        elif name in joint.range:
            low, high = joint.range[name]
            sd[axis] = SHARE * (high - low)
        usual = USUAL_DEG.get((part_of(joint.name), name), 0.0)
        mean[n] = joint.signs[n] * np.radians(usual)
    return Rotation.from_euler(joint.sequence, mean).as_matrix(), np.diag(1 / sd), np.full(3, w.offset)


def of_directions(known: Postures, unfaced: np.ndarray) -> Postures:
    """Postures in which of some children only the direction counts in which their length points.

    Parameters
    ----------
    known : as of `postures`
    unfaced : (U,) bool, units of which nobody knows how far they are turned about their segment's length

    Returns
    -------
    Postures, `directions` set
    """
    at = unfaced[known.ends[:, 1]]
    whiten = known.whiten.copy()
    for joint in np.flatnonzero(at):
        across = np.ix_(ACROSS, ACROSS)
        covariance = np.linalg.inv(known.whiten[joint].T @ known.whiten[joint])[across]
        whiten[joint] = 0.0
        whiten[joint][across] = np.linalg.cholesky(np.linalg.inv(covariance)).T
    return replace(known, whiten=whiten, directions=at)
