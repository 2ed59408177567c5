"""Units solved together: one track for a body, or one for each unit by itself."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..alignment.compliance import freed_rotations
from ..alignment.latency import USUAL as USUAL_LATENCY
from ..alignment.latency import Lateness
from ..alignment.mounting import Mounting
from ..calibration.intake import Intake
from ..core.progress import Progress
from ..estimator.problem.build import build_problem, units_and_ties
from ..estimator.problem.estimate import Estimate
from ..estimator.problem.problem import Problem
from ..estimator.problem.tie import Tie
from ..estimator.second_start import best_estimate
from ..estimator.updates.mounting import calibrated
from ..recording.capture import Capture, Unit
from ..recording.preintegration import Turns
from ..recording.resampling import common_signals
from ..weights import Weights
from .slip.detect import Slip, find_slip, slipping, without_slip

MOST_SLIPS = 2  # of one capture, chosen; not tried: each costs another solve


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


def solve_with_slips(
    intake: Intake, weights: Weights, progress: Progress | None
) -> tuple[list[Track], Capture, list[Slip]]:
    """The whole body solved; where a unit slipped, again with its later samples turned back.

    What joints of units with doubted sensors show is no slip.
    """
    capture, slips = intake.capture, list[Slip]()
    while True:
        track = solve_track(capture, *units_and_ties(capture), weights, progress, slips, intake.missed)
        found = track.found
        freed = freed_rotations(found.body.elastic, found.state.R, found.average.force)
        looked_for = found.converged and len(slips) < MOST_SLIPS
        slip = None
        if looked_for:
            slip = find_slip(track.problem, found.body, found.average, freed, intake.doubted)
        if slip is None or slip.unit not in capture.units:
            return [track], capture, slips
        slips.append(slip)
        capture = without_slip(capture, slip)


def solve_track(
    capture: Capture,
    units: list[Unit],
    ties: list[Tie],
    weights: Weights,
    progress: Progress | None,
    slips: Sequence[Slip] = (),
    missed: Mapping[str, float] | None = None,
) -> Track:
    """The problem of these units, solved; `missed` as in `Intake`."""
    clock = list(capture.units.values())

    def problem_at(late: Lateness) -> Problem:
        read = common_signals(units, clock, late.latency, (late.offset, late.drift))
        signals = slipping(read, slips)
        return build_problem(capture, signals, units, ties, weights, missed)

    latency = 0.0 if ties else USUAL_LATENCY  # joints show it, one unit alone does not
    found = _without_samples(best_estimate(problem_at, latency, len(units), progress))
    return Track(found, [str(unit.segment) for unit in units])


def mounted_together(capture: Capture, tracks: list[Track], weights: Weights) -> list[Track]:
    """Units that were solved alone but know north, their mounting calibrated in one pose and one body."""
    units = list(capture.units.values())
    known = all(track.found.trust.trusted.any() for track in tracks)
    if not known or len({track.problem.signals.intervals for track in tracks}) > 1:
        return tracks
    at = {unit.segment: index for index, unit in enumerate(units)}
    joints = [j for j in capture.model.joints.values() if j.parent in at and j.child in at]
    ties = [Tie(joint, at[joint.parent], at[joint.child]) for joint in joints]
    problem = build_problem(capture, common_signals(units, units), units, ties, weights)
    # each unit alone: joints may only say what no mounting does, which way the body faced
    ties = [] if any(unit.mounting is not None for unit in units) else ties
    problem = dataclasses.replace(problem, ties=ties)
    mounting = calibrated(problem, np.concatenate([track.found.state.R for track in tracks], 1), ({}, {}))
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
