"""How sure each segment's heading, inclination and place is, at every frame."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...alignment.mounting import segment_rotations
from ...body.motion.poses import PoseSequence
from ...core.arrays.scratch import column, let_go, room, rows_at_once
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
    soft, out = unit_turn_variance(found), room(found.rotation.shape)
    for at in rows_at_once(len(out)):
        R = segment_rotations(found.state.R[at], found.body.mounting)
        mounted = R @ found.body.mounting.covariance @ np.swapaxes(R, -1, -2)
        out[at] = found.rotation[at] + soft[at][..., None, None] * np.eye(3) + mounted
        let_go(out, found.rotation, found.state.R)
    return out


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
    low, count = np.clip(at.astype(int), 0, len(founds[0][0].rotation) - 2), len(at)
    turning, across = dict[str, np.ndarray](), dict[str, np.ndarray]()
    for found, segments in founds:
        covariance = segment_covariance(found)
        if len(covariance) < 2 or low.max() > len(covariance) - 2:
            continue
        told, rows_of = room((len(segments), 2, count)), iter(room((len(poses.model.segments), count)))
        for u, name in enumerate(segments):  # one after the other: all of an hour's at once are large
            one, turning[name] = column(covariance, u), told[u]
            arms = _arms(poses, name)
            across |= {child: next(rows_of) for child in arms}
            for rows in rows_at_once(count):
                share = (at - low)[rows, None, None]
                S = (1 - share) * one[low[rows]] + share * one[low[rows] + 1]
                told[u, 0, rows] = _deviation(S[:, 1, 1])
                told[u, 1, rows] = _deviation(0.5 * (S[:, 0, 0] + S[:, 2, 2]))
                for child, arm in arms.items():
                    across[child][rows] = _across(arm[rows], S)
            let_go(told, *across.values())
    place = _places(poses, across, length_sd)
    return {name: SegmentSureness(*turning[name], place.get(name)) for name in turning}


def _deviation(variance: np.ndarray) -> np.ndarray:
    """Rad, at most half a turn."""
    return np.minimum(np.sqrt(np.maximum(variance, 0.0)), np.pi)


def _arms(poses: PoseSequence, parent: str) -> dict[str, np.ndarray]:
    """Child segment -> (T, 3) m, from its parent's origin to the joint, world frame."""
    return {
        joint.child: poses.rotations[parent].apply(joint.centre_in_parent)
        for joint in poses.model.joints.values()
        if joint.parent == parent and joint.centre_in_parent is not None
    }


def _across(arm: np.ndarray, turned: np.ndarray) -> np.ndarray:
    """(k,) m², what a parent's turn (k, 3, 3) rad² does to the end of an arm (k, 3) m, one axis."""
    moved = skew(arm) @ turned @ np.swapaxes(skew(arm), -1, -2)
    most = 2 / 3 * np.sum(arm**2, -1)  # more than pointing anywhere is impossible
    return np.minimum(np.trace(moved, axis1=-2, axis2=-1) / 3, most)


def _places(
    poses: PoseSequence, across: Mapping[str, np.ndarray], length_sd: Mapping[str, float]
) -> dict[str, np.ndarray]:
    """Segment -> (T,) m, standard deviation of its origin, one axis."""
    if any(joint.centre_in_parent is None for joint in poses.model.joints.values()):
        return {}
    segments = poses.model.segments
    rows = dict(zip(segments, room((len(segments), len(poses.time))), strict=True))
    rows[poses.model.root][:] = 0.0
    found = {poses.model.root: rows[poses.model.root]}
    for joint in poses.model.joints.values():
        if joint.parent in found and joint.child in across:
            own = length_sd.get(joint.parent, 0.0) ** 2 / 3
            found[joint.child] = rows[joint.child]
            found[joint.child][:] = found[joint.parent] + across[joint.child] + own
            let_go(rows[joint.child], across[joint.child])
    for variance in found.values():
        np.sqrt(variance, out=variance)
        let_go(variance)
    return found
