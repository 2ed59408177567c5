"""What was estimated and how good it is: the figures of a whole fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ...body.motion.poses import PoseSequence
from ...calibration.intake import Intake
from ...estimator.problem.problem import Problem
from ...recording.capture import Capture, unmeasured_joints
from ...results.summary import (
    FOLLOWED,
    NORTH,
    NOT_FOLLOWED,
    EarthFieldFigures,
    FitOptions,
    HeadingFigures,
    ModelFigures,
    SamplingFigures,
    SolverFigures,
    Summary,
    TrialFigures,
)
from ...results.units import SlipFigures
from ...version import __version__
from ..slip.detect import Slip
from ..stretches import inferred_segments, stretches_of
from ..track import Track
from .joints import joint_figures
from .plain import figure
from .units import clock_figures, unit_figures


def summarise(
    capture: Capture,
    tracks: Sequence[Track],
    poses: PoseSequence,
    spread: Mapping[str, Mapping[str, np.ndarray]],
    intake: Intake,
    slips: Sequence[Slip],
    options: FitOptions,
) -> Summary:
    """Everything that was found and what it rests on.

    Parameters
    ----------
    capture : as used
    tracks : one for the whole body, or one a unit when each was solved alone
    poses : the result
    spread : joint -> angle -> (T,) rad, standard deviation
    intake : what was found before the fit
    slips : of units on their segments
    options : of the call

    Returns
    -------
    Summary, without lengths of segments, what holding the joint ranges changed, and the time it took
    """
    return Summary(
        bodyfit_version=__version__,
        capture=capture.title or capture.source,
        options=options,
        sampling=_sampling(capture, tracks, poses),
        model=_model(capture, poses),
        heading=_heading(tracks),
        root_position=NOT_FOLLOWED if poses.root_position is None else FOLLOWED,
        units=unit_figures(capture, tracks, intake),
        joints=joint_figures(tracks, poses, unmeasured_joints(capture), spread),
        segments={},
        residuals={k: figure(v) for track in tracks for k, v in track.found.residuals.items()},
        gyroscope_latency_s=float(tracks[0].found.late.latency),
        clocks=clock_figures(tracks),
        solver=_solver(tracks),
        wall_time_s=0.0,
        slips=tuple(SlipFigures(s.unit, float(s.time), float(np.degrees(s.angle))) for s in slips),
        recording=capture.files,
    )


def _sampling(capture: Capture, tracks: Sequence[Track], poses: PoseSequence) -> SamplingFigures:
    signals = tracks[0].problem.signals
    return SamplingFigures(
        start_s=float(poses.time[0]),
        end_s=float(poses.time[-1]),
        frequency_hz=float(1 / signals.step),
        frames=len(poses.time),
        stretches_s=stretches_of(poses.time, signals.step),
        inferred_s=inferred_segments(tracks, capture.trials),
        keyframe_hz=float(1 / signals.key_step),
        start_time=None if capture.start_time is None else capture.start_time.isoformat(),
        trials=tuple(TrialFigures.of(trial) for trial in capture.trials),
    )


def _model(capture: Capture, poses: PoseSequence) -> ModelFigures:
    worn_on = {str(unit.segment) for unit in capture.units.values()}
    model = poses.model
    without = tuple(segment for segment in model.segments if segment not in worn_on)
    return ModelFigures(model.name, len(model.segments), len(model.joints), without)


def _heading(tracks: Sequence[Track]) -> HeadingFigures:
    """What +X is, and the way from magnetic to true north."""
    problem = tracks[0].problem
    return HeadingFigures(
        reference=_reference(tracks),
        facing_from=tracks[0].found.body.mounting.facing,
        declination_deg=None if problem.earth is None else float(np.degrees(problem.earth.declination)),
        earth_field=_earth(problem),
    )


def _reference(tracks: Sequence[Track]) -> str:
    if all(track.found.trust.trusted.any() for track in tracks):
        return NORTH
    if len(tracks) == 1:
        return "the root segment faces +X at the first frame"
    return "every segment without a trusted magnetometer faces +X at the first frame"


def _earth(problem: Problem) -> EarthFieldFigures | None:
    """The Earth's field at the capture's place."""
    if (earth := problem.earth) is None:
        return None
    return EarthFieldFigures(
        norm_ut=float(1e6 * earth.norm),
        dip_deg=float(np.degrees(earth.dip)),
        model=earth.model,
        year=float(earth.year),
        note=earth.note or None,
    )


def _solver(tracks: Sequence[Track]) -> SolverFigures:
    """Of all tracks: most iterations, largest last step, costs together."""
    others = [track.found.other_cost for track in tracks if track.found.other_cost is not None]
    return SolverFigures(
        iterations=max(track.found.iterations for track in tracks),
        converged=all(bool(track.found.converged) for track in tracks),
        cost=figure(sum(track.found.cost for track in tracks)),
        last_step_deg=figure(np.degrees(max(track.found.last_step for track in tracks))),
        other_start_cost=figure(sum(others)) if others else None,
    )
