"""The problem of a capture: its units, joints, poses and places, by index."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ...alignment.mounting import Held
from ...body.anatomy import LOOSELY_HELD
from ...body.motion.poses import held_pose
from ...core.rotations import vector_norm
from ...recording.capture import Calibration, Capture, Unit
from ...recording.earth_field import earth_field_of
from ...recording.preintegration import preintegrate
from ...recording.resampling import common_signals
from ...recording.rest import resting_in
from ...recording.signals import Signals
from ...weights import Weights
from .problem import Problem
from .tie import Tie

_IDENTITY = np.array([0.0, 0.0, 0.0, 1.0])


def units_and_ties(capture: Capture) -> tuple[list[Unit], list[Tie]]:
    """One unit per segment, root first, segments without one as units that carry nothing; and the joints."""
    by_segment = {unit.segment: unit for unit in capture.units.values()}
    some = next(iter(capture.units.values()))
    order = [capture.model.root, *(joint.child for joint in capture.model.joints.values())]
    at = {segment: index for index, segment in enumerate(order)}
    units = [by_segment.get(s) or Unit(s, s, some.time, mounting=_IDENTITY) for s in order]
    ties = [Tie(joint, at[joint.parent], at[joint.child]) for joint in capture.model.joints.values()]
    return units, ties


def build_problem(
    capture: Capture,
    signals: Signals,
    units: list[Unit],
    ties: list[Tie],
    weights: Weights,
    missed: Mapping[str, float] | None = None,
) -> Problem:
    """Everything that is given, by unit index; `missed` as in `Problem`."""
    seen = [c for c in capture.calibrations if c.seen_within(signals.time[0], signals.time[-1])]
    still = [c for c in seen if c.kind == "still"]
    lengths = capture.person.lengths_m if capture.person else {}
    moved = [c for c in seen if c.kind == "movement"]
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
        capture.model.usual_postures,
        missed or {},
    )


def _field_norm(unit: Unit) -> float:
    """Median norm of a unit's magnetometer, T; NaN where it has none, or reads arbitrary units."""
    if unit.magnetometer is None or unit.magnetometer_is_arbitrary:
        return float("nan")
    norm = vector_norm(unit.magnetometer)
    return float(np.median(norm[np.isfinite(norm)])) if np.isfinite(norm).any() else float("nan")


def _held(capture: Capture, still: Calibration, units: list[Unit], weights: Weights) -> Held:
    """A pose that the capture declares, by unit."""
    at = held_pose(capture.model, still.pose)
    segments = np.stack([at[str(unit.segment)] for unit in units])
    posed = np.trace(segments, axis1=-2, axis2=-1) < 2.9
    loose = np.array([str(unit.segment).endswith(LOOSELY_HELD) for unit in units])
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
    units, ties = units_and_ties(capture)
    return build_problem(capture, common_signals(units, list(capture.units.values())), units, ties, weights)


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
