"""Warnings of a fit, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..body.motion.joint_angles import beyond_range
from ..body.motion.poses import PoseSequence
from ..estimator.problem.problem import DETERMINED
from ..recording.sampling import BRIDGED_S, GAP

if TYPE_CHECKING:
    from .track import Track

WORTH_A_WARNING_DEG = 5.0


def stretches_of(time: np.ndarray, step: float) -> list[list[float]]:
    """Stretches that long gaps of all units split the output into.

    Parameters
    ----------
    time : (T,) s
    step : s, between frames

    Returns
    -------
    [start, end] in s, one a stretch
    """
    cuts = np.flatnonzero(np.diff(time) > GAP * step)
    first, last = np.r_[0, cuts + 1], np.r_[cuts, len(time) - 1]
    return [[float(time[a]), float(time[b])] for a, b in zip(first, last, strict=True)]


def inferred_segments(tracks: Sequence[Track]) -> dict[str, list[list[float]]]:
    """Segment -> [start, end] s in which its unit was not measured and only its neighbours hold it."""
    out = {}
    for track in tracks:
        signals = track.problem.signals
        for u, segment in enumerate(track.segments):
            if not signals.has["gyroscope"][u] and not signals.has["orientation"][u]:
                continue
            edges = np.flatnonzero(np.diff(np.r_[False, signals.lost[:, u], False].astype(int)))
            if edges.size:
                out[segment] = np.round(signals.key_time[edges], 4).reshape(-1, 2).tolist()
    return out


def warnings_of(
    tracks: Sequence[Track],
    poses: PoseSequence,
    joints: Mapping[str, Any],
    units: Mapping[str, Any],
) -> list[str]:
    """Sentences for a person, most harmful first."""
    out = []
    if unknown := [name for name, joint in joints.items() if joint.get("determined") is False]:
        out.append(f"not determined by this capture: {', '.join(unknown)} (see the notes)")
    out += [w for track in tracks for w in _of_track(track)]
    for name, share in ranges_exceeded(poses).items():
        out.append(
            f"{name}: beyond its range by over {WORTH_A_WARNING_DEG:.0f}° in {100 * share:.1f} % of the "
            "frames; the neutral pose or the mounting may be off"
        )
    return out + _of_gaps(tracks, poses, units)


def _of_gaps(tracks: Sequence[Track], poses: PoseSequence, units: Mapping[str, Any]) -> list[str]:
    """Warnings about gaps: bridged ones, inferred segments, stretches without any unit."""
    out = []
    gaps = {name: [b - a for a, b in unit["gaps"] if b - a <= BRIDGED_S] for name, unit in units.items()}
    gaps = {name: lengths for name, lengths in gaps.items() if lengths}
    if gaps:
        longest, total = max(max(lengths) for lengths in gaps.values()), sum(map(len, gaps.values()))
        out.append(f"{total} gaps in {', '.join(gaps)} bridged, the longest {longest:.2f} s")
    for segment, stretches in inferred_segments(tracks).items():
        told = ", ".join(f"{a:.2f} to {b:.2f}" for a, b in stretches)
        out.append(f"{segment}: its unit was not measured at {told} s; inferred from its neighbours there")
    stretches = stretches_of(poses.time, tracks[0].problem.signals.step)
    if len(stretches) > 1:
        told = ", ".join(f"{a:.2f} to {b:.2f}" for a, b in stretches)
        out.append(f"no unit was measured in between: split into {told} s; headings may differ between these")
    return out


def _of_track(track: Track) -> list[str]:
    """Warnings about a solve and about ranges."""
    out, found = [], track.found
    if not found.converged:
        out.append(
            f"the solver did not converge: it stopped after {found.iterations} iterations, still moving by "
            f"{np.degrees(found.last_step):.1f}°"
        )
    if abs(track.found.late.latency) > 0.005:
        out.append(
            f"gyroscopes lag behind accelerometers by {1000 * track.found.late.latency:.1f} ms; taken off"
        )
    for i, axis in found.body.axes.items():
        tie = track.problem.ties[i]
        declared = tie.joint.axis
        if declared is None or axis.sd > DETERMINED:
            continue
        seen = found.body.mounting.segment_from_unit[tie.parent] @ axis.directions[0]
        off = np.degrees(np.arccos(min(1.0, abs(float(seen @ declared)) / float(np.linalg.norm(declared)))))
        if off > WORTH_A_WARNING_DEG:
            out.append(
                f"{tie.joint.name}: the motion shows a hinge axis {off:.0f}° from the declared one; the "
                "mounting or the axis is off"
            )
    return out


def ranges_exceeded(poses: PoseSequence) -> dict[str, float]:
    """Share of the frames in which each joint lies over 5° beyond a range.

    Parameters
    ----------
    poses : with joint ranges in its model

    Returns
    -------
    joint name -> share, for joints where it is not zero
    """
    out = {}
    for name, joint in poses.model.joints.items():
        angles = np.stack([poses.joint_angles[name][angle] for angle in joint.angles], -1)
        beyond = np.abs(beyond_range(joint, angles)) > np.radians(WORTH_A_WARNING_DEG)
        if beyond.any():
            out[name] = float(beyond.any(-1).mean())
    return out
