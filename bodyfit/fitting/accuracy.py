"""Standard deviations of a whole fit's angles, headings and mountings."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping, Sequence

import numpy as np

from ..body.motion.poses import PoseSequence
from ..body.parts import Joint
from ..core.arrays.scratch import let_go, room, rows_at_once
from ..core.findings import Finding
from ..estimator.uncertainty.joint_angles import joint_angle_sd, relative_covariance, separate_covariance
from ..estimator.uncertainty.other_facings import facing_variance
from ..estimator.uncertainty.segments import SegmentSureness, segment_sureness
from ..recording.capture import Capture
from .contradictions import NOTHING_KNOWN, contradictions, not_vouched_for
from .facing_findings import facing_findings
from .mounting_findings import mounting_findings
from .slip.detect import Slip, slip_finding
from .track import Track

# last steps that a solver which has not converged is still off by: steps that shrink by a half each add up to
# one more, between two segments to √2; doubled, for they may shrink slower; by reasoning
STEPS_LEFT = 3.0


def segment_spread(
    tracks: list[Track], poses: PoseSequence, length_sd: Mapping[str, float], unknown: set[str]
) -> dict[str, SegmentSureness]:
    """By segment: how sure its heading, inclination and place are; `unknown` as of `not_known`."""
    signals = tracks[0].problem.signals
    at = signals.in_intervals(poses.time)
    told = segment_sureness([(track.found, track.segments) for track in tracks], poses, at, length_sd)
    for name in told.keys() & unknown:
        one = told[name]
        wide = {key: np.maximum(getattr(one, key), NOTHING_KNOWN) for key in ("heading", "inclination")}
        told[name] = dataclasses.replace(one, **wide)
    return told


def not_known(
    tracks: list[Track], poses: PoseSequence, adrift: Collection[str] = ()
) -> tuple[set[str], set[str]]:
    """Joints and segments of which nothing is known, whatever the smoother says.

    Those of units that contradict each other, of units that nothing levels, of those that missed the pose
    that tells how the others sit, and of `adrift` ones, as in `Intake`.
    """
    loose = set[str]()
    for track in tracks:
        names = zip(track.problem.signals.units, track.segments, strict=True)
        loose |= {segment for unit, segment in names if unit in adrift}
        opened = (
            track.problem.unlevelled | track.problem.unposed
        )  # its rotation, or its segment's, may be any
        loose |= {track.segments[u] for u in np.flatnonzero(opened).tolist()}
    joints = {name for name, joint in poses.model.joints.items() if loose & {joint.parent, joint.child}}
    if not tracks[0].problem.ties:
        return joints, loose
    told, units = contradictions(tracks[0]), tracks[0].problem.signals.units
    apart = {tracks[0].segments[units.index(name)] for one in told for name in one.units}
    return joints | {one.joint for one in told} | not_vouched_for(tracks[0]), loose | apart


def with_mounting_spread(tracks: list[Track], slips: Sequence[Slip]) -> list[Finding]:
    """What is to be said about how units sit."""
    found = []
    for track in tracks:
        facing = track.found.body.facing
        doubtful = () if facing is None else np.flatnonzero(facing.doubtful).tolist()
        found += facing_findings(track.problem, facing)
        found += mounting_findings(track.problem, track.found.body.mounting, doubtful)
    return [*(slip_finding(slip) for slip in slips), *found]


def angle_spread(
    tracks: list[Track], poses: PoseSequence, unknown: set[str]
) -> dict[str, dict[str, np.ndarray]]:
    """Joint -> angle -> standard deviation at every frame, rad.

    Wider where not converged; as wide as if nothing were known for `unknown` ones, see `not_known`.
    """
    out, signals = {}, tracks[0].problem.signals
    at = signals.in_intervals(poses.time)
    between = relative_covariance(tracks[0].found) if tracks[0].problem.ties else None
    joints = poses.model.joints
    rows = iter(room((sum(len(joint.angles) for joint in joints.values()), len(at))))
    for i, (name, joint) in enumerate(joints.items()):
        covariance = _apart(tracks, joint) if between is None else between[:, i]
        if covariance is not None:
            spread = _in_rows(joint, poses.joint_angles[name], covariance, at)
            spread = spread if between is None else _with_other_facings(tracks[0], i, poses, spread)
            spread = _unsettled(_left(tracks, i, joint), spread)
            if name in unknown:
                spread = {angle: np.maximum(sd, NOTHING_KNOWN) for angle, sd in spread.items()}
            out[name] = {angle: next(rows) for angle in spread}
            for angle, sd in spread.items():
                out[name][angle][:] = sd
                let_go(out[name][angle])
            poses.let_go()
    return out


def _in_rows(
    joint: Joint, angles: Mapping[str, np.ndarray], covariance: np.ndarray, at: np.ndarray
) -> Mapping[str, np.ndarray]:
    """As `joint_angle_sd`, some rows at a time."""
    out = {name: np.empty(len(at)) for name in joint.angles}
    for rows in rows_at_once(len(at)):
        part = {name: values[rows] for name, values in angles.items()}
        for name, sd in joint_angle_sd(joint, part, covariance, at[rows]).items():
            out[name][rows] = sd
    return out


def _left(tracks: list[Track], tie: int, joint: Joint) -> float:
    """Rad, by which the last step turned a joint that was still under way."""
    if tracks[0].problem.ties:
        return float(tracks[0].found.joint_left[tie])
    ends = [t.found.unit_left for t in tracks if t.segments[0] in (joint.parent, joint.child)]
    return float(np.linalg.norm(ends))


def _unsettled(off: float, spread: Mapping[str, np.ndarray]) -> Mapping[str, np.ndarray]:
    """Standard deviations with what a solver that has not converged may still be off by."""
    if off == 0.0:
        return spread
    return {name: np.minimum(np.hypot(sd, STEPS_LEFT * off), np.pi) for name, sd in spread.items()}


def _with_other_facings(
    track: Track, tie: int, poses: PoseSequence, spread: Mapping[str, np.ndarray]
) -> dict[str, np.ndarray]:
    """Standard deviations of a joint's angles with the ways in which its units may face otherwise."""
    other = facing_variance(track.problem, track.found.body.facing, tie, poses.rotations)
    return {name: np.minimum(np.sqrt(sd**2 + other.get(name, 0.0)), np.pi) for name, sd in spread.items()}


def _apart(tracks: list[Track], joint: Joint) -> np.ndarray | None:
    """Covariance between two segments whose units were solved each by itself; None where one carries none."""
    ends = [[t for t in tracks if t.segments[0] == segment] for segment in (joint.parent, joint.child)]
    if not all(ends) or len({len(track.found.rotation) for (track,) in ends}) > 1:
        return None
    return separate_covariance(*(track.found for (track,) in ends))


def mountings_by_unit(capture: Capture, tracks: list[Track]) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """By unit: how it sits and how sure that is."""
    out = {}
    for track in tracks:
        mounting = track.found.body.mounting
        for u, name in enumerate(track.problem.signals.units):
            if name in capture.units:
                out[name] = (mounting.segment_from_unit[u], mounting.covariance[u])
    return out
