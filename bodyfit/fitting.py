"""Capture and body model -> motion: the two layers of fusion, in order."""

from __future__ import annotations

import dataclasses
import time as clock
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.spatial.transform import Rotation

from .body import Joint
from .body_size import BodySize, body_size
from .capture import SENSORS, Calibration, Capture, Unit
from .earth_field import earth_field_of
from .errors import CannotReconstructError, InputError, suggest
from .estimate import Estimate, Progress, estimate
from .finding import Finding, worst_first
from .geometry import elastic_turns
from .intake import examine
from .latency import USUAL as USUAL_LATENCY
from .latency import Lateness
from .mounted import calibrated
from .mounting import Held, Mounting, heading_of
from .mounting_findings import mounting_findings
from .poses import PoseSequence, held_pose
from .preintegration import Turns, between_keyframes, preintegrate
from .problem import Problem, Tie
from .root_path import with_root_path
from .rotations import as_rotation, exp, heading_matrix
from .segment_sureness import SegmentSureness, segment_sureness
from .signals import Signals, common_signals, resting_in
from .slip import Slip, find_slip, slip_finding, slipping, without_slip
from .strict import range_bounds, strict_report, within_ranges
from .summary import summarise
from .sureness import joint_angle_sd, relative_covariance, separate_covariance
from .weights import Weights

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True, eq=False)
class Fit:
    """A motion with all that was found on the way.

    Attributes
    ----------
    poses : every segment's rotation over time, joint angles, positions
    summary : what was estimated, residual figures, warnings; plain data, the content of summary.json
    joint_angle_sd : joint -> angle -> (T,) rad, standard deviation; nothing of joints that were not measured
    mounting : unit -> segment_from_unit (3, 3) and the covariance (3, 3), rad², of the rotation vector φ with
        Exp(φ) segment_from_unit true, segment frame
    findings : about the capture and how units sit, most harmful first
    segment_sd : segment -> standard deviations of its heading, inclination and place at every frame
    """

    poses: PoseSequence
    summary: dict[str, Any]
    joint_angle_sd: Mapping[str, Mapping[str, np.ndarray]] | None = None
    mounting: Mapping[str, tuple[np.ndarray, np.ndarray]] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    segment_sd: Mapping[str, SegmentSureness] = field(default_factory=dict)

    @property
    def time(self) -> np.ndarray:
        """(T,) s."""
        return self.poses.time

    @property
    def rotations(self) -> Mapping[str, Rotation]:
        """Segment name -> Rotation of length T, world_from_segment."""
        return self.poses.rotations

    @property
    def joint_angles(self) -> Mapping[str, Mapping[str, np.ndarray]]:
        """Joint name -> angle name -> (T,) rad."""
        return self.poses.joint_angles

    def write(self, out: str | Path) -> None:
        """Writes segments.csv, joints.csv, pose.glb and summary.json to a folder, all or none.

        Parameters
        ----------
        out : folder, made if missing

        Raises
        ------
        OutputError
            It can't be written; nothing half-written is left.
        """
        from .formats.outputs import write_fit

        write_fit(self, out)

    def plot_joint(self, name: str) -> Figure:
        """A matplotlib figure of one joint's three angles, with the 95 % band and the published range.

        Parameters
        ----------
        name : of the joint, e.g. "r_knee"

        Returns
        -------
        matplotlib.figure.Figure, degrees over s; `figure.savefig("knee.pdf")` writes it

        Raises
        ------
        InputError
            The body has no such joint.
        """
        return self.plot_joints([name])

    def plot_joints(self, names: Sequence[str]) -> Figure:
        """A matplotlib figure of several joints, a column each; left and right of one joint share theirs.

        Parameters
        ----------
        names : of the joints, e.g. ["l_knee", "r_knee"]

        Returns
        -------
        matplotlib.figure.Figure, degrees over s; no band where there is no standard deviation

        Raises
        ------
        InputError
            The body lacks one of them, or none is named.
        """
        from .pictures import joint_figure

        return joint_figure(self.poses, names, self.joint_angle_sd)


def fit(
    capture: Capture,
    sensors: Collection[str] | None = None,
    alone: bool = False,
    leave_out: Collection[str] = (),
    strict_ranges: bool = False,
    assign: str = "given",
    progress: Progress | None = None,
    weights: Weights | None = None,
) -> Fit:
    """Motion of the wearer's body.

    Parameters
    ----------
    capture : worn units and the body model
    sensors : use only these sensors of every unit; None: all that are there and trusted
    alone : each unit by itself, no body: the first layer of fusion, for comparison
    leave_out : names of units to treat as not worn
    strict_ranges : joint ranges hold exactly in the result
    assign : "given": units are worn where the capture says, a doubt is reported; "auto": where motion says
    progress : called as progress(done, total, what)
    weights : standard deviations of the residuals

    Returns
    -------
    Fit

    Raises
    ------
    InputError
        A sensor or unit name that does not exist, or data that can't be used.
    CannotReconstructError
        The capture does not hold what a reconstruction needs.
    """
    from threadpoolctl import threadpool_limits

    started = clock.perf_counter()
    weights = weights or Weights()
    worn = _selected(capture, sensors, leave_out)
    if strict_ranges:
        range_bounds(worn.model)  # a range that can't hold is refused before the work
    slips: list[Slip] = []
    with threadpool_limits(1):  # blocks of this size lose more than they gain by threads
        intake = examine(worn, assign, with_body=not alone)
        worn = intake.capture
        if alone:
            tracks = [_solved(worn, [unit], [], weights, progress) for unit in worn.units.values()]
            tracks = _mounted_together(worn, tracks, weights)
        else:
            tracks, worn, slips = _with_slips(worn, weights, progress)
        size = _size(worn, tracks)
        lengths = {name: length.value for name, length in size.lengths.items()}
        grown = dataclasses.replace(worn, model=worn.model.resized(lengths))
        poses = with_root_path(_poses(grown, tracks))
        smooth = poses
        if strict_ranges:
            poses = within_ranges(smooth, progress)
    options = {
        "sensors": sorted(sensors) if sensors is not None else None,
        "alone": alone,
        "leave_out": sorted(leave_out),
        "strict_ranges": strict_ranges,
        "assign": assign,
    }
    findings = worst_first((*intake.findings, *size.findings, *_of_mountings(tracks, slips)))
    seconds = clock.perf_counter() - started
    summary = summarise(worn, tracks, poses, options, seconds, slips, intake, findings)
    summary["segments"] = size.as_data()
    if strict_ranges:
        summary["strict_ranges"] = strict_report(smooth, poses)
    sureness = _segment_sd(tracks, poses, {name: length.sd for name, length in size.lengths.items()})
    return Fit(poses, summary, _angle_sd(tracks, poses), _mountings(worn, tracks), findings, sureness)


def _segment_sd(
    tracks: list[Track], poses: PoseSequence, length_sd: Mapping[str, float]
) -> dict[str, SegmentSureness]:
    """By segment: how sure its heading, inclination and place are."""
    signals = tracks[0].problem.signals
    at = (poses.time - signals.time[0]) / signals.key_step
    return segment_sureness([(track.found, track.segments) for track in tracks], poses, at, length_sd)


def _of_mountings(tracks: list[Track], slips: Sequence[Slip]) -> list[Finding]:
    """What is to be said about how units sit."""
    found = [f for track in tracks for f in mounting_findings(track.problem, track.found.body.mounting)]
    return [*(slip_finding(slip) for slip in slips), *found]


def _angle_sd(tracks: list[Track], poses: PoseSequence) -> dict[str, dict[str, np.ndarray]]:
    """Joint -> angle -> standard deviation at every frame, rad."""
    out, signals = {}, tracks[0].problem.signals
    at = (poses.time - signals.time[0]) / signals.key_step
    between = relative_covariance(tracks[0].found) if tracks[0].problem.ties else None
    for i, (name, joint) in enumerate(poses.model.joints.items()):
        covariance = _apart(tracks, joint) if between is None else between[:, i]
        if covariance is not None:
            out[name] = joint_angle_sd(joint, poses.joint_angles[name], covariance, at)
    return out


def _apart(tracks: list[Track], joint: Joint) -> np.ndarray | None:
    """Covariance between two segments whose units were solved each by itself; None where one carries none."""
    ends = [[t for t in tracks if t.segments[0] == segment] for segment in (joint.parent, joint.child)]
    if not all(ends) or len({len(track.found.rotation) for (track,) in ends}) > 1:
        return None
    return separate_covariance(*(track.found for (track,) in ends))


def _mountings(capture: Capture, tracks: list[Track]) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """By unit: how it sits and how sure that is."""
    out = {}
    for track in tracks:
        mounting = track.found.body.mounting
        for u, name in enumerate(track.problem.signals.units):
            if name in capture.units:
                out[name] = (mounting.segment_from_unit[u], mounting.covariance[u])
    return out


@dataclass(frozen=True, eq=False)
class Track:
    """Some units solved: what was found, and the segments that they are on, in the order of the units."""

    found: Estimate
    segments: Sequence[str]

    @property
    def problem(self) -> Problem:
        """What was given."""
        return self.found.problem

    @property
    def time(self) -> np.ndarray:
        """(T,) s, output times."""
        return self.problem.signals.time


def _without_samples(found: Estimate) -> Estimate:
    """The estimate with what frames and a summary need; an hour's samples would be held for nothing."""
    none = np.empty((0, 0, 3))
    signals = dataclasses.replace(
        found.problem.signals, rate=none, rate_derivative=none, specific_force=none, field=none
    )
    problem = dataclasses.replace(found.problem, signals=signals, turns=Turns(none, none))
    return dataclasses.replace(found, problem=problem)


def _selected(capture: Capture, sensors: Collection[str] | None, leave_out: Collection[str]) -> Capture:
    """The capture with only the units and sensors to use; names checked."""
    for name in leave_out:
        if name not in capture.units:
            raise InputError(f"leave out: no unit {name!r} in the capture; {suggest(name, capture.units)}")
    for name in sensors or ():
        if name not in SENSORS:
            raise InputError(f"sensors: found {name!r}; {suggest(name, SENSORS)}")
    wanted = frozenset(SENSORS if sensors is None else sensors)
    units = {n: u.only(wanted) for n, u in capture.units.items() if n not in leave_out}
    units = {n: u for n, u in units.items() if u.sensors}
    if not units:
        there = sorted(set().union(*(u.sensors for u in capture.units.values())) if capture.units else [])
        raise CannotReconstructError(
            f"no unit carries {' or '.join(sorted(wanted))}; the capture has "
            f"{', '.join(there) or 'no sensor'}. Choose other sensors, or leave out fewer units"
        )
    _check_segments(capture, units)
    return dataclasses.replace(capture, units=units, model=capture.model.scaled(capture.person))


def _check_segments(capture: Capture, units: Mapping[str, Unit]) -> None:
    """Every unit sits on a segment of the model, and no two on one."""
    taken: dict[str, str] = {}
    for name, unit in units.items():
        segment = unit.segment
        if segment is None:
            continue
        if segment not in capture.model.segments:
            raise InputError(
                f"units.{name}: segment {segment!r} is not in model {capture.model.name!r}; "
                f"{suggest(segment, capture.model.segments)}"
            )
        if segment in taken:
            raise InputError(
                f"units.{name}: segment {segment!r} already carries units.{taken[segment]}, expected one "
                "unit a segment; leave one out"
            )
        taken[segment] = name


def _with_body(capture: Capture) -> tuple[list[Unit], list[Tie]]:
    """One unit per segment, root first, segments without one as units that carry nothing; and the joints."""
    by_segment = {unit.segment: unit for unit in capture.units.values()}
    some = next(iter(capture.units.values()))
    order = [capture.model.root, *(joint.child for joint in capture.model.joints.values())]
    at = {segment: index for index, segment in enumerate(order)}
    units = [by_segment.get(s) or Unit(s, s, some.time, mounting=_IDENTITY) for s in order]
    ties = [Tie(joint, at[joint.parent], at[joint.child]) for joint in capture.model.joints.values()]
    return units, ties


_IDENTITY = np.array([0.0, 0.0, 0.0, 1.0])


def _with_slips(
    capture: Capture, weights: Weights, progress: Progress | None
) -> tuple[list[Track], Capture, list[Slip]]:
    """The whole body solved; where a unit slipped, again with its later samples turned back."""
    slips: list[Slip] = []
    while True:
        track = _solved(capture, *_with_body(capture), weights, progress, slips)
        found = track.found
        freed = found.state.R @ elastic_turns(found.body.elastic, found.state.R, found.average.force)
        slip = find_slip(track.problem, found.body, found.average, freed) if len(slips) < MOST_SLIPS else None
        if slip is None or slip.unit not in capture.units:
            return [track], capture, slips
        slips.append(slip)
        capture = without_slip(capture, slip)


MOST_SLIPS = 2


def _solved(
    capture: Capture,
    units: list[Unit],
    ties: list[Tie],
    weights: Weights,
    progress: Progress | None,
    slips: Sequence[Slip] = (),
) -> Track:
    """The problem of these units, solved."""
    clock = list(capture.units.values())

    def problem_at(late: Lateness) -> Problem:
        read = common_signals(units, clock, late.latency, (late.offset, late.drift))
        signals = slipping(read, slips)
        return _problem(capture, signals, units, ties, weights)

    latency = 0.0 if ties else USUAL_LATENCY  # joints show it, one unit alone does not
    found = _without_samples(estimate(problem_at, latency, len(units), progress))
    return Track(found, [str(unit.segment) for unit in units])


def _size(capture: Capture, tracks: list[Track]) -> BodySize:
    """Lengths of the segments; the motion shows them where joints were solved for."""
    whole = tracks[0] if tracks[0].problem.ties else None
    if whole is None:
        return body_size(capture.model, capture.person)
    return body_size(capture.model, capture.person, whole.found, whole.segments)


def _mounted_together(capture: Capture, tracks: list[Track], weights: Weights) -> list[Track]:
    """Units that were solved alone but know north, their mounting calibrated in one pose and one body."""
    units = list(capture.units.values())
    known = all(track.found.trust.trusted.any() for track in tracks)
    if not known or len({track.problem.signals.intervals for track in tracks}) > 1:
        return tracks
    at = {unit.segment: index for index, unit in enumerate(units)}
    joints = [j for j in capture.model.joints.values() if j.parent in at and j.child in at]
    ties = [Tie(joint, at[joint.parent], at[joint.child]) for joint in joints]
    problem = _problem(capture, common_signals(units, units), units, ties, weights)
    # each unit alone: joints may only say what no mounting does, which way the body faced
    ties = [] if any(unit.mounting is not None for unit in units) else ties
    problem = dataclasses.replace(problem, ties=ties)
    mounting = calibrated(problem, np.concatenate([track.found.state.R for track in tracks], 1), {})
    return [_remounted(track, mounting, u) for u, track in enumerate(tracks)]


def _remounted(track: Track, mounting: Mounting, unit: int) -> Track:
    """A track of one unit with another mounting."""
    own = dataclasses.replace(
        mounting,
        segment_from_unit=mounting.segment_from_unit[unit : unit + 1],
        covariance=mounting.covariance[unit : unit + 1],
        sources=mounting.sources[unit : unit + 1],
        fused=None,  # its evidence goes by the numbers of all units
    )
    body = dataclasses.replace(track.found.body, mounting=own)
    return dataclasses.replace(track, found=dataclasses.replace(track.found, body=body))


def _problem(
    capture: Capture, signals: Signals, units: list[Unit], ties: list[Tie], weights: Weights
) -> Problem:
    """Everything that is given, by unit index."""
    still = [c for c in capture.calibrations if c.kind == "still"]
    lengths = capture.person.lengths_m if capture.person else {}
    moved = [c for c in capture.calibrations if c.kind == "movement"]
    at = {tie.joint.name: i for i, tie in enumerate(ties)}
    g = capture.gravity
    pose = (still[0].start, still[0].end) if still else None
    signals = signals if pose is None else resting_in(signals, pose)
    return Problem(
        signals,
        preintegrate(signals),
        ties,
        [unit.mounting for unit in units],
        [_place(capture, unit, weights) for unit in units],
        [_held(capture, c, units, weights) for c in still],
        [(at[str(c.joint)], c.start, c.end) for c in moved if c.joint in at],
        g,
        earth_field_of(capture),
        np.array([_field_norm(unit) for unit in units]),
        weights,
        [unit.segment in lengths for unit in units],
    )


def _field_norm(unit: Unit) -> float:
    """Median norm of a unit's magnetometer, T; NaN where it has none, or reads arbitrary units."""
    if unit.magnetometer is None or unit.magnetometer_is_arbitrary:
        return float("nan")
    norm = np.linalg.norm(unit.magnetometer, axis=1)
    return float(np.median(norm[np.isfinite(norm)])) if np.isfinite(norm).any() else float("nan")


def _held(capture: Capture, still: Calibration, units: list[Unit], weights: Weights) -> Held:
    """A pose that the capture declares, by unit."""
    at = held_pose(capture.model, still.pose)
    segments = np.stack([at[str(unit.segment)] for unit in units])
    posed = np.trace(segments, axis1=-2, axis2=-1) < 2.9
    loose = np.array([str(unit.segment).endswith(LOOSE) for unit in units])
    factor = np.where(posed | loose, weights.pose_loose, 1.0)
    sd = factor[:, None] * np.array([weights.pose_tilt, weights.pose_heading, weights.pose_tilt])
    return Held(still.pose, still.start, still.end, segments, sd, True)


def problem_of(capture: Capture, weights: Weights) -> Problem:
    """The whole body's problem as the estimator is given it, stamps as they are.

    Parameters
    ----------
    capture : with the units and sensors to use
    weights : standard deviations of the residuals

    Returns
    -------
    Problem, units in the order of the segments: the root, then the joints' children
    """
    units, ties = _with_body(capture)
    return _problem(capture, common_signals(units, list(capture.units.values())), units, ties, weights)


LOOSE = ("arm", "hand", "foot", "skull")  # segments that people hold less exactly than trunk and legs


def _place(capture: Capture, unit: Unit, weights: Weights) -> tuple[np.ndarray, np.ndarray] | None:
    """Where a unit sits on its segment: as given, else somewhere about the middle of a known length."""
    if unit.position is not None:
        return unit.position, weights.position**2 * np.eye(3)
    length = capture.model.segments[str(unit.segment)].length
    if length is None:
        return None
    ends = [j.centre_in_parent for j in capture.model.joints.values() if j.parent == unit.segment]
    ends = [np.zeros(3), *(end for end in ends if end is not None)]
    middle = np.mean(ends, axis=0) if len(ends) > 1 else np.array([0.0, -0.5 * length, 0.0])
    return middle, np.diag(np.square([0.07, 0.25 * length, 0.07]))


def frames_of(track: Track) -> np.ndarray:
    """Rotations of a track's segments at the output times.

    Parameters
    ----------
    track : solved

    Returns
    -------
    (T, U, 3, 3) world_from_segment

    Notes
    -----
    Between keyframes by the gyroscope; the elastic part of the mounting follows the averaged force.
    """
    signals, found = track.problem.signals, track.found
    per_interval = signals.stride * signals.per_key
    out = np.empty((signals.intervals * per_interval + 1, len(signals.units), 3, 3))
    unit_from_segment = np.swapaxes(found.body.mounting.segment_from_unit, -1, -2)
    for start in range(0, signals.intervals, CHUNK):
        end = min(start + CHUNK, signals.intervals)
        steps = signals.turns[start * per_interval : end * per_interval]
        R = between_keyframes(found.state.R[start : end + 1], _carried(steps, per_interval))
        share = np.arange(len(R)) / per_interval
        force = _between(found.average.force[start : end + 1], share)
        at = slice(start * per_interval, end * per_interval + 1)
        out[at] = R @ elastic_turns(found.body.elastic, R, force) @ unit_from_segment
    return out[: len(signals.time)]


CHUNK = 300  # keyframe intervals worked on at once


def _carried(turns: np.ndarray, per_interval: int) -> np.ndarray:
    """(k, per_interval + 1, U, 3, 3) turns from each keyframe to every frame after it."""
    steps = exp(turns).reshape(-1, per_interval, turns.shape[1], 3, 3)
    carried = np.empty((len(steps), per_interval + 1, *steps.shape[2:]))
    carried[:, 0] = np.eye(3)
    for frame in range(per_interval):
        carried[:, frame + 1] = carried[:, frame] @ steps[:, frame]
    return carried


def _between(values: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Values at keyframes, linear in between; `at` in keyframe intervals."""
    low = np.minimum(at.astype(int), len(values) - 2)
    share = (at - low)[:, None, None]
    return (1 - share) * values[low] + share * values[low + 1]


def _poses(capture: Capture, tracks: list[Track]) -> PoseSequence:
    """Pose sequence of the whole body, in the world that the contract asks for."""
    rotations, model = _together(tracks), capture.model
    rotations.setdefault(model.root, Rotation.identity(len(tracks[0].time)))
    for joint in model.joints.values():  # segments that no unit shows, each solved alone, follow their parent
        rotations.setdefault(joint.child, rotations[joint.parent])
    seen = tracks[0].problem.signals.covered
    kept = {name: Rotation.from_quat(rotations[name].as_quat()[seen]) for name in model.segments}
    return PoseSequence(tracks[0].time[seen], kept, model)


def _together(tracks: list[Track]) -> dict[str, Rotation]:
    """Segment -> world_from_segment of length T, headings made to agree.

    Where a field is trusted +X is magnetic north. Where none is, the first segment of a track (the root of a
    body) faces +X at the first frame, or, beside others that know north, where those face on average.
    """
    frames = [frames_of(track) for track in tracks]
    north = [bool(track.found.trust.trusted.any()) for track in tracks]
    towards = [np.exp(1j * heading_of(R[0, 0])) for R, known in zip(frames, north, strict=True) if known]
    facing = float(np.angle(np.sum(towards))) if towards else 0.0
    out: dict[str, Rotation] = {}
    for track, R, known in zip(tracks, frames, north, strict=True):
        turn = np.eye(3) if known else heading_matrix(np.asarray(facing - heading_of(R[0, 0])))
        out |= {segment: as_rotation(turn @ R[:, u]) for u, segment in enumerate(track.segments)}
    return out
