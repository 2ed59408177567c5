"""How sure each segment's heading, inclination and place is, at every frame."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...alignment.mounting import segment_rotations
from ...body.motion.poses import PoseSequence
from ...core.rotations import skew
from ..problem.estimate import Estimate
from .joint_angles import unit_turn_variance


@dataclass(frozen=True, eq=False)
class SegmentSureness:
    """Standard deviations of one segment at every frame.

    Attributes
    ----------
    heading : (T,) rad, about the vertical; without a trusted field, against the root at the start
    inclination : (T,) rad, about a horizontal axis
    place : (T,) m, of its origin against the root's, one axis; None where positions are unknown
    """

    heading: np.ndarray
    inclination: np.ndarray
    place: np.ndarray | None = None


def segment_covariance(found: Estimate) -> np.ndarray:
    """Covariance of each segment's rotation: its unit's, the tissue between, its mounting.

    Parameters
    ----------
    found : solved

    Returns
    -------
    (K + 1, U, 3, 3) rad², world frame
    """
    R = segment_rotations(found.state.R, found.body.mounting)
    mounted = R @ found.body.mounting.covariance @ np.swapaxes(R, -1, -2)
    soft = unit_turn_variance(found)[..., None, None] * np.eye(3)
    return found.rotation + soft + mounted


def segment_sureness(
    founds: Sequence[tuple[Estimate, Sequence[str]]],
    poses: PoseSequence,
    at: np.ndarray,
    length_sd: Mapping[str, float],
) -> dict[str, SegmentSureness]:
    """Standard deviations of all segments that were solved for.

    Parameters
    ----------
    founds : estimates and the segments of their units
    poses : the result
    at : (T,) frames in keyframe intervals
    length_sd : segment -> m

    Returns
    -------
    segment -> SegmentSureness

    Notes
    -----
    A child's origin lies at p + R c from its parent's, so Var = Var(p) + [c]× Σ_R [c]×ᵀ + the length's own
    along c; errors of neighbours are taken for independent, their mean over the three axes is given. Headings
    of a body that faces another way than the solver's are the same: only components about the vertical and
    across it are told.
    """
    low = np.clip(at.astype(int), 0, len(founds[0][0].rotation) - 2)
    share = (at - low)[:, None, None]
    world = {}
    for found, segments in founds:
        covariance = segment_covariance(found)
        if len(covariance) < 2 or low.max() > len(covariance) - 2:
            continue
        for u, name in enumerate(segments):
            one = covariance[:, u]
            world[name] = (1 - share) * one[low] + share * one[low + 1]
    place = _places(poses, world, length_sd)
    return {
        name: SegmentSureness(
            np.minimum(np.sqrt(np.maximum(S[:, 1, 1], 0.0)), np.pi),
            np.minimum(np.sqrt(np.maximum(0.5 * (S[:, 0, 0] + S[:, 2, 2]), 0.0)), np.pi),
            place.get(name),
        )
        for name, S in world.items()
    }


def _places(
    poses: PoseSequence, world: Mapping[str, np.ndarray], length_sd: Mapping[str, float]
) -> dict[str, np.ndarray]:
    """Segment -> (T,) m, standard deviation of its origin, one axis."""
    if poses.positions is None:
        return {}
    variance = {poses.model.root: np.zeros(len(poses.time))}
    for joint in poses.model.joints.values():
        if joint.parent not in variance or joint.parent not in world or joint.centre_in_parent is None:
            continue
        arm = poses.rotations[joint.parent].apply(joint.centre_in_parent)
        turned = skew(arm) @ world[joint.parent] @ np.swapaxes(skew(arm), -1, -2)
        across = np.trace(turned, axis1=-2, axis2=-1) / 3
        across = np.minimum(across, 2 / 3 * np.sum(arm**2, -1))  # more than pointing anywhere is impossible
        variance[joint.child] = variance[joint.parent] + across + length_sd.get(joint.parent, 0.0) ** 2 / 3
    return {name: np.sqrt(value) for name, value in variance.items()}
