"""How units sit, from all that a capture holds: given mountings, held poses, joint axes, joint centres."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from ...alignment.evidence import Evidence, GivenMounting, HeldPose, SharedAxis
from ...alignment.facing.evidence import HeldLevel, facing_evidence, length_evidence, with_senses
from ...alignment.facing.known import Facing
from ...alignment.facing.lean import Level
from ...alignment.fusion import Fused, fuse
from ...alignment.joint_axis import Axis
from ...alignment.joint_centre import Ends
from ...alignment.mounting import Held, Mounting, still_pose
from ...core.rotations import log, mean_rotation
from ...recording.keyframe_averages import Averages
from ..problem.problem import Problem
from .joint_evidence import heading_variance, inside_of, of_axes, of_centres, of_fixed

ASSUMED = np.radians(60.0)  # nobody said that the body was in that pose; by reasoning: next to nothing
# by reasoning: as good as none, a segment without a unit has no mounting that could be off
NO_UNIT = np.radians(0.1)
NEVER_STILL = 1e3  # rad/s, where nothing was measured; by reasoning: more than anything turns


def calibrated(
    problem: Problem,
    freed: np.ndarray,
    hinges: tuple[Mapping[int, Axis], Mapping[int, float]] | None,
    average: Averages | None = None,
    joints: tuple[Ends, Sequence[int], np.ndarray, np.ndarray] | None = None,
    level: Level | None = None,
    facing: Facing | None = None,
) -> Mounting:
    """Mounting of all units from everything that tells of it.

    Parameters
    ----------
    problem : what is given
    freed : (K + 1, U, 3, 3) world_from_unit, freed from the elastic part of the mounting
    hinges : those that the motion shows, tie -> axis and tie -> rad of play; None: headings are not known
        yet, so no joint counts
    average, joints : averages, and (ends, ties, lever arms, m/s² of disagreement) for joint centres; None:
        lever arms are not known yet
    level : how askew the pose was held and where length axes point, as far as joints tell
    facing : how units face whose pose is parted from the motion; None: the pose itself tells

    Returns
    -------
    Mounting
    """
    held = _held(problem)
    evidence: list[Evidence] = _given(problem)
    askew = 1.0 if level is None else level.askew
    evidence += _of_poses(problem, freed, held, hinges is not None, askew, facing)
    evidence += [] if level is None else length_evidence(level)
    if hinges is not None:
        heading = heading_variance(problem, average, joints)
        evidence += of_axes(problem, freed, held, *hinges, heading)
        evidence += of_fixed(problem, freed)
        if average is not None and joints is not None:
            evidence += of_centres(problem, average, *joints)
    if facing is not None:
        evidence = [*with_senses(evidence, facing), *facing_evidence(facing)]
    fused = fuse(evidence, freed.shape[1], len(held))
    return _mounting(problem, held, fused)


def _mounting(problem: Problem, held: Sequence[Held], fused: Fused) -> Mounting:
    """What was fused, unit by unit."""
    U = len(fused.covariance)
    told: list[dict[str, float]] = [{} for _ in range(U)]
    for e, weight in zip(fused.evidence, fused.weight, strict=True):
        for unit in e.units:
            if e.source:
                told[unit][e.source] = max(weight, told[unit].get(e.source, 0.0))
    sources = tuple(", ".join(names) if problem.measured[u] else "no unit" for u, names in enumerate(told))
    pose = (held[0].start, held[0].end) if held else None
    M, covariance = fused.guess.mounting, fused.covariance
    return Mounting(M, covariance, sources, pose, _facing(problem, fused), tuple(held), fused)


def _facing(problem: Problem, fused: Fused) -> str:
    """Where it is known from which way the body faced."""
    if any(e.source == "given" and problem.measured[e.units[0]] for e in fused.evidence if e.units):
        return "mounting given"
    if any(isinstance(e, SharedAxis) for e in fused.evidence):
        return "joint axes"
    return "usual posture" if any(e.source == "usual posture" for e in fused.evidence) else "unknown"


def _given(problem: Problem) -> list[Evidence]:
    """Mountings stated with the capture; a segment without a unit is its own unit."""
    sd = np.where(problem.measured, problem.weights.mounting, NO_UNIT)
    return [
        GivenMounting(u, Rotation.from_quat(q).as_matrix(), float(sd[u]), shared=bool(problem.measured[u]))
        for u, q in enumerate(problem.given_mounting)
        if q is not None
    ]


def _held(problem: Problem) -> list[Held]:
    """Poses that are declared, else one that is assumed where a mounting is missing."""
    if problem.held or all(given is not None for given in problem.given_mounting):
        return list(problem.held)
    signals = problem.signals
    rate = np.linalg.norm(signals.rate[:: signals.per_key], axis=-1)
    rate[1:][signals.lost] = rate[:-1][signals.lost] = NEVER_STILL
    start, end = still_pose(signals.key_time, rate)
    U = len(signals.units)
    neutral = np.broadcast_to(np.eye(3), (U, 3, 3))
    return [Held("neutral", start, end, neutral, np.full((U, 3), ASSUMED), False)]


def _of_poses(
    problem: Problem,
    freed: np.ndarray,
    held: Sequence[Held],
    settled: bool,
    askew: float,
    facing: Facing | None,
) -> list[Evidence]:
    """Every unit in every pose; one that turns meanwhile says less, and units' headings have errors."""
    out: list[Evidence] = []
    w, time = problem.weights, problem.signals.key_time
    for index, pose in enumerate(held):
        inside = inside_of(time, pose.start, pose.end)
        if not inside.any():
            continue
        seeing = [
            u for u in map(int, np.flatnonzero(problem.measured)) if problem.watched((u,))[inside].any()
        ]
        R = freed[inside]
        mean = mean_rotation(R)
        turned = log(R @ np.swapaxes(mean, -1, -2))
        moved = np.sqrt(np.mean(np.square(turned), axis=0))
        heading = w.heading_error if settled else w.heading_at_start
        sd = np.sqrt((askew * pose.sd) ** 2 + moved**2 + np.array([0.0, heading**2, 0.0]))
        for u in seeing:
            common = _pose_source(pose), float(np.sum(moved[u] ** 2))
            if facing is not None and facing.told[u]:
                tilt = float(np.sqrt(np.mean(sd[u, [0, 2]] ** 2)))
                out.append(HeldLevel(index, u, mean[u, 1], pose.segments[u, 1], tilt, *common))
            else:
                out.append(HeldPose(index, u, mean[u], pose.segments[u], sd[u], *common))
    return out


def _pose_source(pose: Held) -> str:
    return "still pose" if pose.declared else "still pose assumed"
