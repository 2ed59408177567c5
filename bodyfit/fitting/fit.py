"""From a capture to a fit: the method, step by step."""

from __future__ import annotations

import dataclasses
import time as clock
from collections.abc import Collection

from ..body.motion.joint_limits.enforce import range_bounds, within_ranges
from ..body.motion.joint_limits.report import strict_report
from ..body.motion.poses import PoseSequence
from ..calibration.intake import Intake, examine
from ..core.arrays.scratch import give_back
from ..core.findings import Finding, inferred_as_notes, worst_first
from ..core.progress import Progress
from ..recording.capture import Capture, unmeasured_joints
from ..results.summary import BY_BOTH_FEET, FitOptions
from ..weights import Weights
from .accuracy import angle_spread, mountings_by_unit, not_known, segment_spread, with_mounting_spread
from .body_size.fuse import BodySize, body_size
from .figures.summary import summarise
from .fit_findings import fit_findings
from .frames import poses_of
from .result import Fit
from .root_path import path_account, with_path
from .same_person import with_earlier
from .select import selected
from .slip.detect import Slip
from .track import Track, mounted_together, solve_track, solve_with_slips
from .usual_postures import told as usual_told


def fit(
    capture: Capture,
    sensors: Collection[str] | None = None,
    alone: bool = False,
    leave_out: Collection[str] = (),
    strict_ranges: bool = False,
    assign: str = "given",
    progress: Progress | None = None,
    weights: Weights | None = None,
    usual_postures: bool = True,
    same_person: Fit | None = None,
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
    weights : standard deviations of the residuals, gates of the magnetic field
    usual_postures : believe where joints beside segments without a unit usually are
    same_person : fit of another capture of the same wearer, which lends lengths and usual postures

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
    options = _options(sensors, alone, leave_out, strict_ranges, assign, usual_postures, same_person)
    if not usual_postures:
        capture = dataclasses.replace(capture, model=capture.model.without_usual_postures())
    capture, lent = (capture, ()) if same_person is None else with_earlier(capture, same_person, weights)
    worn = selected(capture, sensors, leave_out)
    if strict_ranges:
        range_bounds(worn.model)  # a range that can't hold is refused before the work
    with threadpool_limits(1):  # blocks of this size lose more than they gain by threads
        intake = examine(worn, assign, with_body=not alone, weights=weights)
        solve = _units_alone if alone else solve_with_slips
        tracks, worn, slips = solve(intake, weights, progress)
        give_back()
        size = _size(worn, tracks)
        lengths = {name: length.value for name, length in size.lengths.items()}
        grown = dataclasses.replace(worn, model=worn.model.resized(lengths))
        smooth, path = with_path(worn, tracks, poses_of(grown, tracks))
        poses = within_ranges(smooth, progress) if strict_ranges else smooth
        give_back()
    findings = _findings(worn, tracks, slips, poses, (*lent, *intake.findings, *size.findings))
    joints, segments = not_known(tracks, poses, intake.adrift)
    give_back()
    spread = angle_spread(tracks, poses, joints)
    give_back()
    summary = dataclasses.replace(
        summarise(worn, tracks, poses, spread, intake, slips, options),
        wall_time_s=clock.perf_counter() - started,
        segments=size.figures(),
        strict_ranges=strict_report(smooth, poses) if strict_ranges else None,
    )
    if path is not None:
        summary = dataclasses.replace(summary, root_position=BY_BOTH_FEET, root_path=path_account(path))
    give_back()
    sd = {name: length.sd for name, length in size.lengths.items()}
    sureness = segment_spread(tracks, poses, sd, segments)
    return Fit(poses, summary, spread, mountings_by_unit(worn, tracks), findings, sureness, worn.trials)


def motion_alone(capture: Capture, weights: Weights) -> tuple[PoseSequence, list[Slip]]:
    """The motion as `fit` finds it, for who asks many times: no path, standard deviation or finding.

    Parameters
    ----------
    capture : worn units and the body model
    weights : standard deviations of the residuals, gates of the magnetic field

    Returns
    -------
    poses : the root at rest
    slips : that were found

    Raises
    ------
    CannotReconstructError, InputError
        As `fit`.
    """
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        intake = examine(selected(capture, None, ()), weights=weights)
        tracks, worn, slips = solve_with_slips(intake, weights, None)
        return poses_of(worn, tracks), slips


def _findings(
    worn: Capture, tracks: list[Track], slips: list[Slip], poses: PoseSequence, before: tuple[Finding, ...]
) -> tuple[Finding, ...]:
    """What the fit shows and what was found before, worst first; of joints that nothing measured as notes."""
    told = with_mounting_spread(tracks, slips), usual_told(tracks), fit_findings(tracks, poses, worn.trials)
    every = (*before, *(finding for part in told for finding in part))
    return worst_first(inferred_as_notes(every, unmeasured_joints(worn)))


def _options(
    sensors: Collection[str] | None,
    alone: bool,
    leave_out: Collection[str],
    strict_ranges: bool,
    assign: str,
    usual_postures: bool,
    same_person: Fit | None,
) -> FitOptions:
    """What the call asked for, as the summary tells it."""
    return FitOptions(
        sensors=tuple(sorted(sensors)) if sensors is not None else None,
        alone=alone,
        leave_out=tuple(sorted(leave_out)),
        strict_ranges=strict_ranges,
        assign=assign,  # type: ignore[arg-type] - the intake refuses other words
        usual_postures=usual_postures,
        same_person=None if same_person is None else _called(same_person),
    )


def _called(earlier: Fit) -> str:
    """What an earlier fit is called: its recording's folder, else its title, else its model."""
    told = earlier.summary
    return (told.recording.folder if told.recording else "") or told.capture or told.model.name


def _units_alone(
    intake: Intake, weights: Weights, progress: Progress | None
) -> tuple[list[Track], Capture, list[Slip]]:
    """Each unit by itself, their mountings together; nothing shows slips then."""
    capture = intake.capture
    tracks = [
        solve_track(capture, [unit], [], weights, progress, missed=intake.missed)
        for unit in capture.units.values()
    ]
    return mounted_together(capture, tracks, weights), capture, []


def _size(capture: Capture, tracks: list[Track]) -> BodySize:
    """Lengths of the segments; the motion shows them where joints were solved for."""
    whole = tracks[0] if tracks[0].problem.ties else None
    if whole is None:
        return body_size(capture.model, capture.person)
    return body_size(capture.model, capture.person, whole.found, whole.segments)
