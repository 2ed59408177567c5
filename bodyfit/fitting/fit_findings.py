"""What a fit finds out about itself, as findings: what it could not determine, where it had to infer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..body.motion.joint_angles import beyond_range
from ..body.motion.poses import PoseSequence
from ..calibration.sensors.static_noise import BIAS_SOURCE, SEEN_BIAS
from ..core.findings import Finding
from ..estimator.problem.problem import DETERMINED
from ..estimator.problem.schedule import SCHEDULE
from ..estimator.uncertainty.joint_angles import heading_sd
from ..recording.trials import Trial
from ..results.kinds import Span
from .contradictions import contradiction_findings
from .stretches import inferred_segments, stretches_of

if TYPE_CHECKING:
    from .track import Track

OFF_DEG = 5.0  # deg, beyond a range or off a declared axis, that is told; common practice
# deg beyond a range: a warning, serious; by reasoning: docs/findings.md, joint-range
FAR_DEG, FARTHEST_DEG = 10.0, 20.0
HEADING_UNKNOWN = np.radians(
    20.0
)  # rad, SD above which a relative heading counts as unknown; common practice
LATE_MS = 5.0  # ms, latency of gyroscopes that is told; common practice: half a sample at 100 Hz


def fit_findings(tracks: Sequence[Track], poses: PoseSequence, trials: Sequence[Trial] = ()) -> list[Finding]:
    """What the solve and its result show, one entry a kind where it is about several joints.

    Parameters
    ----------
    tracks : one for the whole body, or one a unit
    poses : the result
    trials : of the capture; pauses between them are as they should be

    Returns
    -------
    list of Finding, in no order
    """
    together = len(tracks) == 1 and bool(tracks[0].problem.ties)
    return [
        *(_undetermined(tracks[0]) if together else ()),
        *(contradiction_findings(tracks[0]) if together else ()),
        *(f for track in tracks for f in (*_of_track(track), *_unlevelled(track))),
        *_beyond_ranges(poses),
        *_inferred(tracks, poses, trials),
    ]


def _unlevelled(track: Track) -> Iterator[Finding]:
    """Units of which nothing tells how they lay at the start."""
    names = tuple(track.problem.signals.units[u] for u in np.flatnonzero(track.problem.unlevelled).tolist())
    if names:
        yield Finding(
            "unit-unlevelled",
            "warning",
            f"{', '.join(names)}: no accelerometer to use, and no stated mounting with a declared pose that "
            "would tell how the unit lay at the start",
            "record with the accelerometer, or give the unit's mounting and declare a still pose",
            units=names,
            source="by reasoning: a gyroscope tells turns, not where they began",
            handled="the angles of its joints are marked as not known",
            harm_deg=60.0,
        )


def _undetermined(track: Track) -> Iterator[Finding]:
    """Joints whose heading the motion does not show, and joints of segments that carry no unit."""
    sd = np.degrees(heading_sd(track.found))
    ties = track.problem.ties
    measured = [track.problem.both_measured(tie) for tie in ties]
    unknown = [i for i in range(len(ties)) if measured[i] and np.radians(sd[i]) > HEADING_UNKNOWN]
    if unknown:
        names, worst = tuple(ties[i].joint.name for i in unknown), float(max(sd[i] for i in unknown))
        yield Finding(
            "heading-undetermined",
            "warning",
            f"not determined by this capture: the heading across {', '.join(names)}, uncertain by up to "
            f"{worst:.0f}° (standard deviation)",
            "Do not read these joints' angles about the vertical; its notes say what shows them",
            joints=names,
            value=worst,
            threshold=float(np.degrees(HEADING_UNKNOWN)),
            measure="deg",
            source="common practice",
            harm_deg=worst,
        )
    bare = tuple(tie.joint.name for tie, both in zip(ties, measured, strict=True) if not both)
    if bare:
        yield Finding(
            "segment-without-unit",
            "note",
            f"not determined by this capture: {', '.join(bare)}, for a segment of them carries no unit",
            "Wear a unit there; or show their angles by --inferred and read them only with their deviations",
            joints=bare,
            source="no limit: it is so or not",
            handled="inferred from the units around; left out of joints.csv",
        )


def _of_track(track: Track) -> Iterator[Finding]:
    """Whether the solve ended, what it took off, and axes that the motion shows elsewhere."""
    found = track.found
    late = 1000 * float(track.found.late.latency)
    if not found.converged:
        last, units, joints = _under_way(track)
        yield Finding(
            "not-converged",
            "warning",
            f"the solver stopped after {found.iterations} iterations without converging: its last step still "
            f"turned {', '.join(joints or units)}, by up to {last:.2f}° (root mean square)",
            "Take differences of a few times that size there for undecided; see the serious findings first",
            units=() if joints else units,
            joints=joints,
            value=last,
            threshold=float(np.degrees(SCHEDULE.converged)),
            measure="deg",
            source="the solver's own limit",
            harm_deg=last,
        )
    if abs(late) > LATE_MS:
        yield Finding(
            "gyroscope-latency",
            "note",
            f"gyroscopes lag behind accelerometers by {late:.1f} ms",
            "Nothing to do; other software that reads these files would have to take it off too",
            value=late,
            threshold=LATE_MS,
            measure="ms",
            source="common practice",
            handled="taken off",
        )
    yield from _high_biases(track)
    yield from _other_axes(track)


def _under_way(track: Track) -> tuple[float, tuple[str, ...], tuple[str, ...]]:
    """Degrees, largest of the last step, and the units and joints between units that it still turned."""
    found, problem = track.found, track.problem
    both = np.array([problem.both_measured(tie) for tie in problem.ties], bool)
    units = np.where(problem.measured, found.unit_left, 0.0)
    joints = np.where(both, found.joint_left, 0.0)
    names = tuple(problem.ties[int(j)].joint.name for j in np.flatnonzero(joints))
    of_units = tuple(problem.signals.units[int(u)] for u in np.flatnonzero(units))
    return float(np.degrees(max([*joints] if names else [*units]))), of_units, names


def _high_biases(track: Track) -> Iterator[Finding]:
    """Gyroscopes whose bias came out larger than that of any sound one."""
    signals = track.problem.signals
    largest = np.abs(track.found.state.bias[0]).max(-1)
    for u in np.flatnonzero((largest > SEEN_BIAS) & signals.has["gyroscope"]):
        value = float(np.degrees(largest[u]))
        yield Finding(
            "bias-high",
            "warning",
            f"{signals.units[u]} gyroscope: a bias of {value:.1f} °/s, as its motion shows it",
            "let the device warm up and calibrate its bias before the next capture",
            units=(signals.units[u],),
            value=value,
            threshold=float(np.degrees(SEEN_BIAS)),
            measure="°/s",
            source=BIAS_SOURCE,
            handled="estimated by the fit",
            harm_deg=value,
        )


def _other_axes(track: Track) -> Iterator[Finding]:
    """Hinges whose motion shows another axis than the declared one."""
    found = track.found
    for i, axis in found.body.axes.items():
        tie = track.problem.ties[i]
        declared = tie.joint.axis
        if declared is None or axis.sd > DETERMINED:
            continue
        seen = found.body.mounting.segment_from_unit[tie.parent] @ axis.directions[0]
        share = abs(float(seen @ declared)) / float(np.linalg.norm(declared))
        off = float(np.degrees(np.arccos(min(1.0, share))))
        if off > OFF_DEG:
            yield Finding(
                "hinge-axis-disagrees",
                "warning",
                f"{tie.joint.name}: the motion shows a hinge axis {off:.0f}° from the declared one",
                "Check how the units of its two segments sit, and the axis in the body model",
                joints=(tie.joint.name,),
                value=off,
                threshold=OFF_DEG,
                measure="deg",
                source="common practice",
                harm_deg=off,
            )


def _beyond_ranges(poses: PoseSequence) -> Iterator[Finding]:
    """Joints that lie beyond their range."""
    for name, joint in poses.model.joints.items():
        angles = np.stack([poses.joint_angles[name][angle] for angle in joint.angles], -1)
        poses.let_go()
        beyond = np.degrees(np.abs(beyond_range(joint, angles)))
        share, most = float((beyond > OFF_DEG).any(-1).mean()), float(beyond.max(initial=0.0))
        if share:
            yield Finding(
                "joint-range",
                "serious" if most > FARTHEST_DEG else "warning" if most > FAR_DEG else "note",
                f"{name}: beyond its range by over {OFF_DEG:.0f}° in {100 * share:.1f} % of the frames, by "
                f"{most:.0f}° at most",
                "Check the neutral pose and how the units of its two segments sit",
                joints=(name,),
                value=most,
                threshold=OFF_DEG,
                measure="deg",
                source=joint.range_source or "the body model, which gives no source",
                harm_deg=most,
            )


def _inferred(tracks: Sequence[Track], poses: PoseSequence, trials: Sequence[Trial]) -> Iterator[Finding]:
    """Segments that only their neighbours hold for a while, and stretches without any unit."""
    for segment, stretches in inferred_segments(tracks, trials, pauses=False).items():
        yield Finding(
            "segment-inferred",
            "warning",
            f"{segment}: its unit was not measured at {_told(stretches)} s",
            "Read its angles there only with their standard deviations",
            segments=(segment,),
            start=stretches[0][0],
            end=stretches[-1][1],
            value=float(sum(b - a for a, b in stretches)),
            measure="s",
            source="no limit: every such stretch is told",
            handled="inferred from its neighbours there",
        )
    stretches = stretches_of(poses.time, tracks[0].problem.signals.step)
    if len(stretches) > max(1, len(trials)):
        yield Finding(
            "capture-split",
            "warning",
            f"no unit was measured in between: split into {_told(stretches)} s",
            "Do not compare headings across these stretches",
            value=float(len(stretches)),
            threshold=float(max(1, len(trials))),
            measure="stretches",
            source="a capture in one piece has one, others one a trial",
            handled="each stretch stands by itself",
        )


def _told(stretches: Sequence[Span]) -> str:
    return ", ".join(f"{a:.2f} to {b:.2f}" for a, b in stretches)
