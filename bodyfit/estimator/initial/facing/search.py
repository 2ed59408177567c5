"""Which way every unit faces on its segment, when the pose is parted from the motion by a gap.

Gravity in the pose gives a mounting but for one angle μ about the vertical, the same in all pieces of the
recording. Between two units of a joint, each piece has one unknown heading ψ. Accelerations at the joint,
what joints usually do, and a field where there is one, give a likelihood of (ψ, parent's μ, child's μ);
summed over ψ and multiplied over pieces it is one table per joint. The tree of joints then gives exact
marginals of every μ, all senses at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from ....alignment.facing.arms import Arms, arms_of, heading_likelihood
from ....alignment.facing.askew import third_askew
from ....alignment.facing.chain import Chain, joint_table, smoothed
from ....alignment.facing.grid import FINE, FINER, HEADINGS, wrapped
from ....alignment.facing.known import NEAR, SURE, Facing
from ....alignment.facing.lean import Level, by_gravity, righted
from ....alignment.facing.pieces import Pieces
from ....alignment.facing.places import ankle_evidence, hips_evidence
from ....alignment.facing.posture import Posture, held_posture, posture_of
from ....alignment.facing.tree import Marginals, marginals, runner_up
from ....alignment.facing.usual import Usual, usual_of
from ....alignment.mounting import Held
from ....body.anatomy import ANKLE, HIPS, part_of
from ....calibration.magnetic.field_gate import FieldTrust
from ....core.rotations import UP, smallest_rotation
from ....recording.keyframe_averages import Averages
from ...problem.problem import Problem
from ...updates.field_level import strayed
from .apart import apart, tied
from .arm_prior import arm_prior
from .cut import pieces_of
from .field import field_likelihood

# rad, of a facing in the end: frames of bones differ between people by that; common practice
LEAST = np.radians(5.0)
GIVEN = np.radians(8.0)  # rad, on the grid, of a unit whose mounting is stated; chosen; not tried
UPRIGHT = 0.999  # cosine up to which a segment counts as upright in a pose; by reasoning: within 3°


@dataclass(frozen=True, eq=False)
class _Joint:
    """One joint whose usual posture is known: its pieces, its arms, and what is usual.

    A pose that is held askew tilts both mountings, alike in all pieces, by `tilt` (2,) rad about each axis.
    """

    tie: int
    pieces: Pieces
    arms: Arms
    usual: Usual
    tilt: np.ndarray

    @property
    def constant(self) -> np.ndarray:
        """(M,) deviation of the wearer's own means, as the joint shows them."""
        return np.hypot(self.usual.constant, np.hypot(*self.tilt))

    def turn(self, parent: np.ndarray, child: np.ndarray) -> np.ndarray:
        """(S,) rad, the same of the third angle, by both units' (K + 1, 3, 3) world_from_segment.

        Of pieces of one kind it is the same, for it is alike in all of them.
        """
        pieces, up = self.pieces, (parent[self.pieces.at, :, 1], child[self.pieces.at, :, 1])
        askew = third_askew(pieces, up, self.arms.pull, self.tilt, self.usual.cardan)
        upright = pieces.sums(up[1][:, 1]) / pieces.count
        constant = np.radians([self.usual.third_at(float(one)).constant for one in upright])
        kinds, of = np.unique(constant, return_inverse=True)
        return np.sqrt(kinds**2 + np.bincount(of, askew) / np.bincount(of))[of]


def find_facing(
    problem: Problem, R: np.ndarray, average: Averages, trust: FieldTrust
) -> tuple[Level | None, Facing | None]:
    """How askew the pose was held, and facing of all units where it is apart from the motion.

    Parameters
    ----------
    problem : what is given
    R : (K + 1, U, 3, 3) world_from_unit at the start, headings arbitrary after every gap
    average : at these rotations
    trust : of the field, by norm and dip

    Returns
    -------
    Level, or None: no declared pose, or all mountings stated
    Facing, or None besides: no gap, or the pose hangs together with motion
    """
    held = [pose for pose in problem.held if pose.declared]
    open_ = problem.measured & np.array([given is None for given in problem.given_mounting])
    if not (held and open_.any()):
        return None, None
    pose, in_pose = held[0], held[0].holds(problem.signals.key_time)
    joints, level = _joints(problem, average, in_pose, _level(problem, R, pose, in_pose))
    pose = replace(pose, sd=level.askew * pose.sd)
    if not problem.signals.lost.any():
        return level, None
    parted = apart(problem, in_pose, {j.tie: tied(j.pieces, j.arms.pull) for j in joints}) & open_
    if not parted.any():
        return level, None
    segments = R @ np.swapaxes(level.matrix, -1, -2)
    strays = _strays(problem, average, trust)
    chains = [_chain(problem, joint, segments, pose, average, strays) for joint in joints]
    return level, _likeliest(problem, joints, chains, level, parted)


def _likeliest(
    problem: Problem, joints: list[_Joint], chains: list[Chain], level: Level, parted: np.ndarray
) -> Facing:
    """Facing of all units by all joints, and the second-likeliest."""
    tables = [joint_table(chain) for chain in chains]
    edges = [(problem.ties[j.tie].parent, problem.ties[j.tie].child) for j in joints]
    own = _own(problem, joints, level.matrix)
    pair = np.reshape(tables, (-1, len(FINE), len(FINE)))
    found = marginals(edges, pair, own)
    facing = _facing(problem, joints, chains, level, parted, found)
    if (other := runner_up(edges, pair, own, found)) is None:
        return facing
    return replace(facing, second=_facing(problem, joints, chains, level, parted, replace(found, mode=other)))


def _level(problem: Problem, R: np.ndarray, pose: Held, in_pose: np.ndarray) -> Level:
    """Mountings by gravity in the pose, or as stated."""
    U = R.shape[1]
    matrix, sd, posed = np.tile(np.eye(3), (U, 1, 1)), np.full(U, np.nan), np.zeros(U, bool)
    for u in map(int, np.flatnonzero(problem.followed)):
        given = problem.given_mounting[u]
        seen = in_pose & problem.watched((u,))
        if given is not None:
            matrix[u], sd[u] = Rotation.from_quat(given).as_matrix(), problem.weights.mounting
        elif seen.any() and pose.segments[u, 1, 1] > UPRIGHT:
            matrix[u] = smallest_rotation(R[None, seen, u, 1].mean(1), UP)[0]
            sd[u], posed[u] = np.sqrt(np.mean(pose.sd[u, [0, 2]] ** 2)), True
    return by_gravity(matrix, sd, posed)


def _joints(
    problem: Problem, average: Averages, in_pose: np.ndarray, level: Level
) -> tuple[list[_Joint], Level]:
    """Joints that say something of facings, with their arms; mountings as these put them right."""
    found: dict[int, tuple[Usual, Pieces]] = {}
    for i, tie in enumerate(problem.ties):
        usual = usual_of(tie.joint.name)
        told = usual is not None and (tie.joint.sequence == "ZXY" or not usual.cardan)
        if usual is None or not (told and level.known[tie.parent] and level.known[tie.child]):
            continue
        pieces = pieces_of(problem, average, tie, in_pose)
        if len(pieces.first):
            found[i] = usual, pieces
    if not found:
        return [], level
    ties = [problem.ties[i] for i in found]
    prior = arm_prior(problem, ties, level)
    joints = [((t.parent, t.child), pieces) for t, (_, pieces) in zip(ties, found.values(), strict=True)]
    arms, lean = arms_of(average, joints, prior, problem.alike(problem.weights.joint_s), problem.g)
    level = righted(level, lean)
    return [
        _Joint(i, pieces, own, usual, level.sd[[t.parent, t.child]])
        for t, (i, (usual, pieces)), own in zip(ties, found.items(), arms, strict=True)
    ], level


def _chain(
    problem: Problem, joint: _Joint, segments: np.ndarray, pose: Held, average: Averages, strays: np.ndarray
) -> Chain:
    """Likelihood of every piece of one joint."""
    tie, pieces = problem.ties[joint.tie], joint.pieces
    heading = heading_likelihood(joint.arms.pull, pieces.tilt, joint.arms.soft) * field_likelihood(
        average, tie, pieces, strays
    )
    postures = [_posture(problem, joint, segments, pose, piece) for piece in range(len(pieces.first))]
    return Chain(
        heading,
        postures,
        pieces.continued,
        pieces.posed,
        joint.constant,
        joint.turn(segments[:, tie.parent], segments[:, tie.child]),
        joint.arms.soft,
        float(np.radians(joint.usual.plane)),
    )


def _posture(problem: Problem, joint: _Joint, segments: np.ndarray, pose: Held, piece: int) -> Posture:
    """One piece, in motion or in the pose."""
    tie, pieces = problem.ties[joint.tie], joint.pieces
    at = pieces.keyframes(piece)
    both = segments[at, tie.parent], segments[at, tie.child]
    if pieces.posed[piece]:
        turn = pose.segments[tie.parent].T @ pose.segments[tie.child]
        third = float(np.arctan2(turn[0, 2], turn[2, 2]))
        sd = float(np.hypot(pose.sd[tie.parent, 1], pose.sd[tie.child, 1]))
        return held_posture(both, third, sd, joint.usual)
    seconds = len(at) * problem.signals.key_step
    return posture_of(both, tie.joint, joint.usual, float(pieces.tilt[piece]), seconds)


def _strays(problem: Problem, average: Averages, trust: FieldTrust) -> np.ndarray:
    """(U,) rad, how far each unit's field may be off in heading; NaN without one."""
    if not problem.signals.has["magnetometer"].any():
        return np.full(len(problem.signals.units), np.nan)
    square = strayed(problem, average, trust) ** 2
    return np.sqrt((square + np.nanmedian(square)) / 2)  # one stray place shows two parts of three


def _own(problem: Problem, joints: list[_Joint], level: np.ndarray) -> np.ndarray:
    """(U, F) what is known of each unit's facing by itself."""
    out = np.zeros((len(level), len(FINE)))
    hips = {}
    for joint in joints:
        tie, arms = problem.ties[joint.tie], joint.arms
        if part_of(tie.joint.name) == ANKLE:
            out[tie.child] += ankle_evidence(level[tie.child], arms.arm[1], arms.covariance[3:, 3:])
        if tie.joint.name in HIPS:
            hips[tie.joint.name[0]] = tie.parent, (arms.arm[0], arms.covariance[:3, :3])
    if len(hips) == 2:
        pelvis = hips["l"][0]
        out[pelvis] += hips_evidence(level[pelvis], hips["l"][1], hips["r"][1])
    given = np.array([one is not None for one in problem.given_mounting])
    out[given] = -0.5 * (wrapped(FINE) / GIVEN) ** 2
    return out


def _facing(
    problem: Problem,
    joints: list[_Joint],
    chains: list[Chain],
    level: Level,
    parted: np.ndarray,
    found: Marginals,
) -> Facing:
    """Mean, deviation and probability about the mode, and every joint's heading there."""
    p = np.exp(found.unit)
    mode = FINE[found.mode]
    off = wrapped(FINE - mode[:, None])
    near = p * (np.abs(off) <= NEAR)
    share = near.sum(1)
    mean = (near * off).sum(1) / np.maximum(share, 1e-12)
    counts = np.where(share[:, None] < SURE, p, near)
    square = (counts * wrapped(off - mean[:, None]) ** 2).sum(1) / counts.sum(1)
    heading = np.zeros((len(joints), len(problem.signals.key_time)))
    for j, (joint, chain) in enumerate(zip(joints, chains, strict=True)):
        tie = problem.ties[joint.tie]
        near = np.rint(found.mode[[tie.parent, tie.child]] / FINER).astype(int) % HEADINGS
        each = smoothed(chain, *near.tolist())
        heading[j] = _over_time(joint.pieces, each, heading.shape[1])
    return Facing(
        level,
        parted,
        wrapped(mode + mean),
        np.sqrt(square + LEAST**2),
        share,
        tuple(joint.tie for joint in joints),
        heading,
        np.reshape([joint.arms.arm for joint in joints], (-1, 2, 3)),
        found.unit,
        found.pair,
        found.mode,
    )


def _over_time(pieces: Pieces, each: np.ndarray, keyframes: int) -> np.ndarray:
    """(keyframes,) a heading per piece, straight between the middles of pieces that hang together."""
    out, filled = np.zeros(keyframes), 0
    middle = pieces.at[pieces.first + pieces.count // 2]
    for number in range(int(pieces.stretch[-1]) + 1 if len(pieces.first) else 0):
        own = pieces.stretch == number
        last = pieces.at[pieces.of == np.flatnonzero(own)[-1]][-1]
        at = np.arange(filled, last + 1)
        out[at] = np.interp(at, middle[own], np.unwrap(each[own]))
        filled = last + 1
    out[filled:] = out[filled - 1] if filled else 0.0
    return out
