"""What each place of each unit would explain: joint centres, hinges, lengths, and left against right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import i0e, ndtr

from .body import BodyModel, Joint, Person
from .pair_fit import MISFIT, PairTable, Stretch
from .rotations import heading_matrix
from .start import UP, as_complex

# One set for every capture. docs/method.md says how each was arrived at.
FITTED = 7  # two lever arms and a heading, fitted to each pair
HINGE_PLAY, HINGE_SPREAD = np.radians(3.0), 0.8  # play of a hinge: median, spread of its logarithm
LEAST_PLAY, MOST_PLAY = np.radians(0.3), np.radians(80.0)  # play of any other joint: anything between
TRAVEL = np.radians(10.0)  # rad, turn from which on play shows the type of a joint
AXIS_SD = np.radians(15.0)  # of a hinge's axis against where model and mounting have it
LENGTH_SHARE, LENGTH_SD = 0.12, 0.05  # a length against the model's: share of it, and m
LENGTH_SHARE_UNSIZED = 0.18  # the same when nobody's stature is known
PLACE_SHARE, PLACE_SD = 0.25, 0.07  # where along its segment a unit sits: share of the length, and m
USUAL_STATURE_M = 1.70
OUTLIER = 0.05  # share of entries that mean nothing
SIDE_OUTLIER = 0.02  # the same for directions that tell left from right
KNEE_SD, ELBOW_SD, MOUNTED_SD = np.radians(25.0), np.radians(45.0), np.radians(20.0)
SENSE_SD = 0.15  # of the sine of the mean angle of flexion
SIDE_SD, SIDE_M = np.radians(10.0), 0.03  # from the left joint centre to the right one: direction, and m
HEADINGS = 72


@dataclass(frozen=True, eq=False)
class Bends:
    """A joint that bends one way only: segments, far joints, and the side to which its axis points.

    Attributes
    ----------
    joint : its index
    sense : +1 when bending turns the child about Z to the right (an elbow), −1 to the left (a knee)
    sd : rad, of its axis against the right of the trunk
    """

    joint: int
    sense: int
    sd: float


@dataclass(frozen=True, eq=False)
class Tree:
    """A body model by index: what placement needs of it.

    Attributes
    ----------
    segments, joints : in the model's order, the root first
    ends : (J, 2) segment indices, parent first
    centres : (J, 2, 3) m, in the parent's and the child's frame; NaN where unknown
    lengths : (S,) m, NaN where unknown
    sized : whether lengths are this person's own
    mirrored : joints (left, right) that hang on one parent
    bends : joints that bend one way only
    """

    segments: tuple[str, ...]
    joints: tuple[Joint, ...]
    ends: np.ndarray
    centres: np.ndarray
    lengths: np.ndarray
    sized: bool
    mirrored: tuple[tuple[int, int], ...]
    bends: tuple[Bends, ...]

    def at(self, segment: int) -> list[tuple[int, int]]:
        """(joint, side) of all joints that a segment takes part in."""
        return [(j, side) for j, side in zip(*np.nonzero(self.ends == segment), strict=True)]


def tree_of(model: BodyModel, person: Person | None) -> Tree:
    """A model by index, scaled to the person, or to a usual stature where none is known.

    Parameters
    ----------
    model, person : as in a capture

    Returns
    -------
    Tree
    """
    scaled = model.scaled(person)
    usual = scaled.scaled(Person(stature_m=USUAL_STATURE_M))
    sized = all(j.centre_in_parent is not None for j in scaled.joints.values())
    joints = tuple(usual.joints.values())
    segments = (model.root, *(joint.child for joint in joints))
    at = {segment: index for index, segment in enumerate(segments)}
    ends = np.array([[at[j.parent], at[j.child]] for j in joints], int).reshape(-1, 2)
    unknown = np.full(3, np.nan)
    centres = np.array(
        [
            [unknown if c is None else np.asarray(c, float) for c in (j.centre_in_parent, j.centre_in_child)]
            for j in joints
        ]
    ).reshape(-1, 2, 3)
    mirrored = [
        (a, b)
        for a, left in enumerate(joints)
        for b, right in enumerate(joints)
        if left.child.startswith("l_")
        and right.child == "r_" + left.child[2:]
        and left.parent == right.parent
    ]
    bends = [b for index, joint in enumerate(joints) if (b := _bends(index, joint))]
    lengths = np.array([usual.segments[s].length or np.nan for s in segments])
    return Tree(segments, joints, ends, centres, lengths, sized, tuple(mirrored), tuple(bends))


def _bends(index: int, joint: Joint) -> Bends | None:
    """A joint that bends about Z to one side at least ten times as far as to the other."""
    low, high = joint.range.get(joint.angles[0], (0.0, 0.0))
    if joint.sequence[0] != "Z" or not abs(low + high) > 9 / 11 * (high - low):
        return None
    side = joint.signs[0] * (1 if low + high > 0 else -1)
    return Bends(index, side, KNEE_SD if side < 0 else ELBOW_SD)


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
    trunk = [s for s, name in enumerate(tree.segments) if name[:2] not in ("l_", "r_")]
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
    return moved * _log_mixed(np.exp(-0.5 * off**2) / (HINGE_SPREAD * np.sqrt(2 * np.pi)), any_other)


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
            gained = _log_mixed(np.exp(-0.5 * angle**2 / variance) / variance, 1.0)
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
        ends = _ends(tree, segment)
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
            gained = _log_mixed(np.exp(-0.5 * off**2 / variance) / np.sqrt(2 * np.pi * variance), 1.0)
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
        reach = np.linalg.norm(_ends(tree, segment) - tree.centres[index, side], axis=-1).max()
        if np.isfinite(reach) and reach > 0:
            soft = np.sqrt(PLACE_SD**2 + variance)
            gained = _log_mixed(ndtr((reach - distance) / soft) / reach, 1.0)
            out += gained if side == 0 else gained.T
    return out


def _ends(tree: Tree, segment: int) -> np.ndarray:
    """(n, 3) m, joint centres of a segment, and its far end where it carries nothing: units sit between."""
    ends = [tree.centres[j, s] for j, s in tree.at(segment)]
    reaching = [end for end in ends if not np.allclose(end, 0.0)]
    far = [] if reaching else [tree.lengths[segment] * (UP if _upwards(tree, segment) else -UP)]
    return np.array([*ends, np.zeros(3), *far])


def _upwards(tree: Tree, segment: int) -> bool:
    """Whether a segment at the end of the tree reaches up: what hangs on its parent's head end."""
    (j, _), *_ = tree.at(segment)
    centre = tree.centres[j, 0]
    return bool(np.isfinite(centre).all() and centre[1] > 0 and tree.joints[j].child[:2] not in ("l_", "r_"))


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
                table[:U, :U, :U] = _log_mixed(density, 1.0)
                out.append((first, second, table))
    return tuple(out)


def _length(v: np.ndarray, covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Length of vectors (..., 3) and its variance."""
    length = np.linalg.norm(v, axis=-1)
    along = v / np.maximum(length, 1e-6)[..., None]
    return length, np.einsum("...i,...ij,...j", along, covariance, along, optimize=True)


def _log_mixed(density: np.ndarray, other: float, share: float = OUTLIER) -> np.ndarray:
    """Log-likelihood ratio of a density, some entries of which mean nothing, against another."""
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


def side_score(known: Evidence, assignment: np.ndarray) -> float:
    """How well left and right fit which way knees and elbows bend, and stated mountings of the trunk.

    Parameters
    ----------
    known : evidence
    assignment : (S,) unit on each segment, U for none

    Returns
    -------
    log-likelihood ratio

    Notes
    -----
    In each set of connected units, the heading φ of the body's right is unknown: the mean over φ of the
    product of what every knee, elbow and mounting says of φ, and what the joint centres left and right of
    the trunk say.
    """
    tree, U = known.tree, len(known.mean_world)
    group, heading = _aligned(known, assignment)
    phi = np.arange(HEADINGS) * 2 * np.pi / HEADINGS
    logs = {g: np.zeros(HEADINGS) for g in set(group.values())}
    for bend in tree.bends:
        p, c = map(int, assignment[tree.ends[bend.joint]])
        if p < U and c < U:
            logs[group[p]] += _bending(known, assignment, bend, heading[p], phi)
    for (s, u), axis in known.right.items():
        if assignment[s] == u:
            logs[group[u]] += _towards(known.mean_world[u] @ axis, heading[u], MOUNTED_SD, phi)
    for left, right in tree.mirrored:
        trunk = int(assignment[tree.ends[left, 0]])
        l, r = assignment[tree.ends[[left, right], 1]]
        if max(trunk, l, r) < U:
            d = known.pairs.lever[trunk, r] - known.pairs.lever[trunk, l]
            C = known.pairs.lever_covariance[trunk, [l, r]].sum(0)
            sd = np.hypot(SIDE_SD, np.sqrt(SIDE_M**2 + np.trace(C) / 3) / max(np.linalg.norm(d), 1e-3))
            logs[group[trunk]] += _towards(known.mean_world[trunk] @ d, heading[trunk], sd, phi)
    return float(sum(np.logaddexp.reduce(x) - np.log(HEADINGS) for x in logs.values()))


def _aligned(known: Evidence, assignment: np.ndarray) -> tuple[dict[int, int], dict[int, float]]:
    """Per unit: the unit that its connected set starts from, and the turn of its world onto that one's."""
    U = len(known.mean_world)
    group, heading = {int(u): int(u) for u in assignment if u < U}, dict.fromkeys(map(int, assignment), 0.0)
    for p, c in assignment[known.tree.ends]:
        if p < U and c < U:
            turn = float(known.pairs.heading[p, c])
            group[int(c)], heading[int(c)] = group[int(p)], heading[int(p)] + turn
    return group, heading


def _bending(
    known: Evidence, assignment: np.ndarray, bend: Bends, heading: float, phi: np.ndarray
) -> np.ndarray:
    """(H,) log-likelihood ratio of the body's right, from a joint that bends one way only.

    Along the parent from joint to joint u, along the child v, axis a: bending shows as the sine
    (u × v)·a / |u||v|, whose sign orients a.
    """
    pairs, (p, c) = known.pairs, assignment[known.tree.ends[bend.joint]]
    axis = pairs.axis[p, c]
    u, sd_u = _long_axis(known, assignment, bend.joint, 0, axis)
    v, sd_v = _long_axis(known, assignment, bend.joint, 1, pairs.axis[c, p])
    sine = np.cross(axis, u) @ pairs.mean_relative[p, c] @ v / (np.linalg.norm(u) * np.linalg.norm(v))
    sure = ndtr(bend.sense * sine / np.sqrt(SENSE_SD**2 + sd_u**2 + sd_v**2))
    sd = float(np.hypot(bend.sd, pairs.axis_sd[p, c]))
    one = _towards(known.mean_world[p] @ axis, heading, sd, phi)
    return np.logaddexp(np.log(sure + 1e-9) + one, np.log(1 - sure + 1e-9) + np.roll(one, len(phi) // 2))


def _long_axis(
    known: Evidence, assignment: np.ndarray, joint: int, side: int, axis: np.ndarray
) -> tuple[np.ndarray, float]:
    """Vector downwards along a segment at a joint, in its unit's frame, and its sd about the axis, rad.

    From joint centre to joint centre; from the unit to the joint centre where nothing is worn beyond.
    """
    tree, pairs, U = known.tree, known.pairs, len(known.mean_world)
    unit, near = assignment[tree.ends[joint, side]], assignment[tree.ends[joint, 1 - side]]
    far = [assignment[tree.ends[j, 1 - s]] for j, s in tree.at(tree.ends[joint, side]) if j != joint]
    span, C, least = pairs.lever[unit, near], pairs.lever_covariance[unit, near], PLACE_SD
    if len(far) and min(far) < U:
        span, C, least = (
            span - pairs.lever[unit, min(far)],
            C + pairs.lever_covariance[unit, min(far)],
            SIDE_M,
        )
    across = np.cross(axis, span)
    length = max(float(np.linalg.norm(across)), 1e-3)
    sd = np.sqrt(least**2 + across @ C @ across / length**2) / length
    return (span if side == 0 else -span), float(sd)


def _towards(v: np.ndarray, heading: float, sd: float, phi: np.ndarray) -> np.ndarray:
    """(H,) log-likelihood ratio of φ from a mean vector that should point there; less when it is upright."""
    z = as_complex(v) * np.exp(1j * heading)
    level = abs(z) / max(float(np.linalg.norm(v)), 1e-9)
    k = 1 / np.hypot(sd, 0.2 / max(level, 1e-3)) ** 2
    return _log_mixed(np.exp(k * (np.cos(np.angle(z) - phi) - 1)) / i0e(k), 1.0, SIDE_OUTLIER)
