"""What each place of each unit would explain: joint centres, hinges, lengths, and left against right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ...body.anatomy import mirrored
from ...body.parts import Joint
from ...core.rotations import heading_matrix
from .body_tree import Tree, joint_ends
from .pair_agreement import MISFIT, PairTable, Stretch

# One set for every capture. docs/method.md says how each was arrived at.
FITTED = 7  # two lever arms and a heading, fitted to each pair; by definition
# play of a hinge: median, spread of its logarithm; chosen; not tried
HINGE_PLAY, HINGE_SPREAD = np.radians(3.0), 0.8
# play of any other joint: anything between; by reasoning: from noise to a ball's turn
LEAST_PLAY, MOST_PLAY = np.radians(0.3), np.radians(80.0)
TRAVEL = np.radians(10.0)  # rad, turn from which on play shows the type of a joint; chosen; not tried
AXIS_SD = np.radians(15.0)  # of a hinge's axis against where model and mounting have it; chosen; not tried
LENGTH_SHARE, LENGTH_SD = 0.12, 0.05  # a length against the model's: share of it, and m; chosen; not tried
LENGTH_SHARE_UNSIZED = 0.18  # the same when nobody's stature is known; chosen; not tried
# where along its segment a unit sits: share of the length, and m; chosen; not tried
PLACE_SHARE, PLACE_SD = 0.25, 0.07
OUTLIER = 0.05  # share of entries that mean nothing; chosen; not tried


@dataclass(frozen=True, eq=False)
class Evidence:
    """Log-likelihood ratios against units that have nothing to do with each other.

    Index U stands for "no unit" and scores nothing.

    Attributes
    ----------
    tree, pairs : what it was made from
    joint : (J, U + 1, U + 1), unit on the parent, unit on the child
    spans : for two joints at one segment: (joint, side), (joint, side), (U + 1, U + 1, U + 1) by the unit on
        the segment and the units beyond either joint
    mean_world : (U, 3, 3) mean attitude, the turning of the whole body taken off
    right : (S, U) list of unit vectors, the right of segment s in the frame of unit u, or None
    """

    tree: Tree
    pairs: PairTable
    joint: np.ndarray
    spans: tuple[tuple[tuple[int, int], tuple[int, int], np.ndarray], ...]
    mean_world: np.ndarray
    right: Mapping[tuple[int, int], np.ndarray]


def evidence(
    tree: Tree,
    stretch: Stretch,
    pairs: PairTable,
    mounting: Mapping[tuple[int, int], np.ndarray],
    up: Sequence[np.ndarray | None],
) -> Evidence:
    """All that is known about single joints and spans, for every unit at every place.

    Parameters
    ----------
    tree, stretch, pairs : body and units
    mounting : (segment, unit) -> (3, 3) segment_from_unit, where one is stated
    up : per unit, the head end of its segment in its frame, from a declared neutral pose, or None

    Returns
    -------
    Evidence
    """
    U = len(pairs.rms)
    joint = np.zeros((len(tree.joints), U + 1, U + 1))
    joint[:, :U, :U] = _agreement(pairs, stretch.independent)
    for index in range(len(tree.joints)):
        joint[index, :U, :U] += _hinge(tree.joints[index], pairs)
        joint[index, :U, :U] += _near(tree, index, pairs)
        joint[index, :U, :U] += _axis(tree, index, pairs, mounting) + _along(tree, index, pairs, mounting, up)
        joint[index, range(U), range(U)] = -np.inf
    trunk = [s for s, name in enumerate(tree.segments) if mirrored(name) is None]
    right = {(s, u): M[2] for (s, u), M in mounting.items() if s in trunk}
    return Evidence(tree, pairs, joint, _spans(tree, pairs), _mean_world(stretch), right)


def _agreement(pairs: PairTable, independent: float) -> np.ndarray:
    """(U, U) −ν log(σ / σ₀), ν numbers of unknown noise, σ₀ what units that don't touch leave.

    ν is at most 3 / MISFIT²: more samples of one motion don't make the model of a joint any truer.
    """
    nu = 1 / (1 / max(3 * independent - FITTED, 1e-6) + MISFIT**2 / 3)
    off = ~np.eye(len(pairs.rms), dtype=bool)
    size = np.log(np.where(off, pairs.rms, 1.0))
    own = np.array([np.median(size[u][off[u]]) for u in range(len(size))])
    return np.where(off, -nu * (size - 0.5 * (own[:, None] + own)), 0.0)


def _hinge(joint: Joint, pairs: PairTable) -> np.ndarray:
    """(U, U) how much the play tells a hinge from a joint of any other type, as far as it moved."""
    if joint.type != "hinge" and not joint.flexes_only:
        return np.zeros_like(pairs.play)
    off = np.log(np.maximum(pairs.play, LEAST_PLAY) / HINGE_PLAY) / HINGE_SPREAD
    any_other = 1 / np.log(MOST_PLAY / LEAST_PLAY)
    moved = pairs.travel**2 / (pairs.travel**2 + TRAVEL**2)
    return moved * log_mixed(np.exp(-0.5 * off**2) / (HINGE_SPREAD * np.sqrt(2 * np.pi)), any_other)


def _axis(
    tree: Tree, index: int, pairs: PairTable, mounting: Mapping[tuple[int, int], np.ndarray]
) -> np.ndarray:
    """(U, U) how near the axis found lies to the declared one, where both mountings are stated."""
    joint, out = tree.joints[index], np.zeros_like(pairs.play)
    declared = joint.axis if joint.type == "hinge" else np.array([0.0, 0.0, 1.0]) * joint.flexes_only
    if declared is None or not np.any(declared):
        return out
    declared = np.asarray(declared) / np.linalg.norm(declared)
    for side, segment in enumerate(tree.ends[index]):
        for u in range(len(out)):
            if (M := mounting.get((segment, u))) is None:
                continue
            angle = np.arccos(np.clip(np.abs(pairs.axis[u] @ (M.T @ declared)), 0, 1))
            variance = AXIS_SD**2 + pairs.axis_sd[u] ** 2
            gained = log_mixed(np.exp(-0.5 * angle**2 / variance) / variance, 1.0)
            out[(u, slice(None)) if side == 0 else (slice(None), u)] += gained
    return out


def _along(
    tree: Tree,
    index: int,
    pairs: PairTable,
    mounting: Mapping[tuple[int, int], np.ndarray],
    up: Sequence[np.ndarray | None],
) -> np.ndarray:
    """(U, U) whether the joint centre lies towards the right end of each segment, where up is known in it."""
    out = np.zeros_like(pairs.play)
    for side, segment in enumerate(tree.ends[index]):
        ends = joint_ends(tree, segment)
        if not np.isfinite(ends).all():
            continue
        off_middle = (tree.centres[index, side] - np.mean(ends, axis=0))[1]
        sd = np.hypot(PLACE_SHARE * np.ptp(ends, axis=0).max(), PLACE_SD)
        for u in range(len(out)):
            M = mounting.get((segment, u))
            axis = up[u] if up[u] is not None or M is None else M[1]
            if axis is None:
                continue
            off = pairs.lever[u] @ axis - off_middle
            variance = sd**2 + axis @ pairs.lever_covariance[u] @ axis
            gained = log_mixed(np.exp(-0.5 * off**2 / variance) / np.sqrt(2 * np.pi * variance), 1.0)
            out[(u, slice(None)) if side == 0 else (slice(None), u)] += gained
    return out


def _near(tree: Tree, index: int, pairs: PairTable) -> np.ndarray:
    """(U, U) whether the joint centre is no farther from either unit than its segment is long.

    A unit sits anywhere along its segment: its distance from the joint centre is uniform up to the length,
    with a soft end.
    """
    out = np.zeros_like(pairs.play)
    distance, variance = _length(pairs.lever, pairs.lever_covariance)
    for side, segment in enumerate(tree.ends[index]):
        reach = np.linalg.norm(joint_ends(tree, segment) - tree.centres[index, side], axis=-1).max()
        if np.isfinite(reach) and reach > 0:
            soft = np.sqrt(PLACE_SD**2 + variance)
            gained = log_mixed(ndtr((reach - distance) / soft) / reach, 1.0)
            out += gained if side == 0 else gained.T
    return out


def _spans(tree: Tree, pairs: PairTable) -> tuple[tuple[tuple[int, int], tuple[int, int], np.ndarray], ...]:
    """Distance between two joint centres of a segment: the same however the unit sits."""
    share, out, U = (LENGTH_SHARE if tree.sized else LENGTH_SHARE_UNSIZED), [], len(pairs.rms)
    lever, C = pairs.lever, pairs.lever_covariance
    between, variance = _length(lever[:, :, None] - lever[:, None], C[:, :, None] + C[:, None])
    for segment in range(len(tree.segments)):
        joints = tree.at(segment)
        for a, first in enumerate(joints):
            for second in joints[a + 1 :]:
                length = float(np.linalg.norm(tree.centres[first] - tree.centres[second]))
                if not np.isfinite(length):
                    continue
                spread = (share * length) ** 2 + LENGTH_SD**2 + variance
                density = np.exp(-0.5 * (between - length) ** 2 / spread) / np.sqrt(2 * np.pi * spread)
                table = np.zeros((U + 1, U + 1, U + 1))
                table[:U, :U, :U] = log_mixed(density, 1.0)
                out.append((first, second, table))
    return tuple(out)


def _length(v: np.ndarray, covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Length of vectors (..., 3) and its variance."""
    length = np.linalg.norm(v, axis=-1)
    along = v / np.maximum(length, 1e-6)[..., None]
    return length, np.einsum("...i,...ij,...j", along, covariance, along, optimize=True)


def log_mixed(density: np.ndarray, other: float, share: float = OUTLIER) -> np.ndarray:
    """Log-likelihood ratio of a density, some entries of which mean nothing, against another.

    Parameters
    ----------
    density : of any shape
    other : density of what it is compared with
    share : of entries that mean nothing

    Returns
    -------
    array of the shape of `density`
    """
    return np.log((1 - share) * density / other + share)


def _mean_world(stretch: Stretch) -> np.ndarray:
    """(U, 3, 3) mean attitude; the median turn of the units about the vertical since the start taken off."""
    turned = stretch.R @ np.swapaxes(stretch.R[:1], -1, -2)
    yaw = np.angle(turned[..., 0, 0] + turned[..., 2, 2] + 1j * (turned[..., 0, 2] - turned[..., 2, 0]))
    common = np.median(np.unwrap(yaw, axis=0), axis=1)
    return (heading_matrix(-common)[:, None] @ stretch.R).mean(0)


def base_scores(known: Evidence, assignments: np.ndarray) -> np.ndarray:
    """Joints and spans of many assignments.

    Parameters
    ----------
    known : evidence
    assignments : (N, S) unit on each segment, U for none

    Returns
    -------
    (N,) log-likelihood ratios
    """
    on = assignments[:, known.tree.ends]  # (N, J, 2)
    total = known.joint[np.arange(on.shape[1]), on[..., 0], on[..., 1]].sum(1)
    for (j, side), (k, other), table in known.spans:
        total = total + table[on[:, j, side], on[:, j, 1 - side], on[:, k, 1 - other]]
    return total
