"""Every unit trusted only as far as its signals allow: checks and repairs before units are fused."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..core.findings import Finding, worst_first
from ..errors import InputError, suggest
from ..recording.capture import Capture, Unit, in_turn
from ..recording.resampling import check_stamps
from ..recording.sampling import Sampling, sampling_of
from ..recording.single_units import Unaided, unaided
from ..weights import Weights
from .clocks.seconds_apart import with_seconds
from .clocks.trial_clocks import (
    apart_by_trial,
    clocks_by_trial,
    in_each_trial,
    put_back,
    trial_clock_findings,
)
from .clocks.unit_clocks import Clocks, neighbours
from .declared_stretches import reaching_stretches, stretch_findings
from .magnetic.field_check import FieldCheck, check_field
from .placement.assignment import Placement, placed, refuse_unplaced
from .placement.findings import check_placement, placement_findings
from .sampling_findings import capture_findings
from .sensors.accelerometer_scale import (
    HIGH_BIAS,
    AccelerometerScale,
    accelerometer_findings,
    accelerometer_scales,
    reading_gravity,
)
from .sensors.clipping import Clipping, clipping, clipping_findings, redrawn
from .sensors.gravity_missed import gravity_missed, missed_findings
from .sensors.gravity_windows import gravity_windows
from .sensors.gyroscope_scale import gyroscope_findings, gyroscope_scales, turning_true
from .sensors.sensor_axes import UnitAxes, axes_findings, unit_axes
from .sensors.soundness import sound
from .sensors.static_noise import AtRest, at_rest, rest_findings

# findings about a unit's own samples that are left as they are; what it shows on its joints is no slip then
SENSORS_DOUBTED = (
    *("sensor-stuck", "gravity-not-read", "units-change", "axes-mixed"),
    *("accelerometer-scale", "gyroscope-scale", "gravity-missed", "clock-adrift"),
)
ASSIGN = ("given", "auto")  # units stay where the capture says, or go where their motion says


@dataclass(frozen=True, eq=False)
class Intake:
    """A capture looked over and repaired.

    Attributes
    ----------
    capture : repaired: clocks, scales, flat tops, iron; units on other segments only when asked for
    sampling, clipped, rests : what was found in the samples of each unit
    clocks : of the units that carry accelerometer and gyroscope, in the trial where they differ most, or
        None: not compared
    accelerometers, axes : scales, and how axes fit each other
    missed : unit -> m/s² that its accelerometer may be off by, beyond what calibrated ones are
    field : of the magnetometers
    placement : which unit is where, or None: not compared
    findings : most harmful first
    """

    capture: Capture
    sampling: tuple[Sampling, ...]
    clipped: tuple[Clipping, ...]
    rests: tuple[AtRest, ...]
    clocks: Clocks | None
    accelerometers: tuple[AccelerometerScale, ...]
    axes: tuple[UnitAxes, ...]
    missed: Mapping[str, float]
    field: FieldCheck
    placement: Placement | None
    findings: tuple[Finding, ...]

    @property
    def doubted(self) -> frozenset[str]:
        """Names of units whose own samples are doubted."""
        return self._told_of(*SENSORS_DOUBTED)

    @property
    def adrift(self) -> frozenset[str]:
        """Names of units whose stamps are off by what is not known."""
        return self._told_of("clock-adrift")

    def _told_of(self, *kinds: str) -> frozenset[str]:
        """Names of units that a warning or worse of these kinds is about."""
        told = (f for f in self.findings if f.kind in kinds and f.severity != "note")
        return frozenset(name for finding in told for name in finding.units)


def examine(
    capture: Capture,
    assign: str = "given",
    with_body: bool = True,
    refuse: bool = True,
    weights: Weights | None = None,
) -> Intake:
    """The capture looked over, and repaired where that is certain.

    Parameters
    ----------
    capture : as read
    assign : "given": units are worn where the capture says, a doubt is reported; "auto": units go where their
        motion says, and those without a segment are placed
    with_body : whether units may be compared over joints; without, each is looked at by itself
    refuse : whether a unit that stays without a segment is an error
    weights : for the gates of the magnetic field

    Returns
    -------
    Intake

    Raises
    ------
    InputError
        A sensor that is saturated throughout, or holds hardly any samples; an unknown word for `assign`.
    CannotReconstructError
        A unit without a segment, unless it is to be placed.

    Notes
    -----
    In this order, since each step needs the ones before: what is plainly broken; sampling, flat tops, rest;
    clocks; placement; scales
    and axes; magnetic field.
    """
    if assign not in ASSIGN:
        raise InputError(f"assign: found {assign!r}; {suggest(assign, ASSIGN)}")
    for unit in capture.units.values():
        check_stamps(unit)
    capture, unsound = sound(capture)
    units = list(capture.units.values())
    sampling = tuple(sampling_of(unit, capture.trials) for unit in in_turn(units))
    clipped = tuple(clip for unit in in_turn(units) for clip in clipping(unit))
    rests = tuple(rest for unit in in_turn(units) for rest in at_rest(unit))
    findings = [*capture.notes, *unsound, *capture_findings(sampling)]
    findings += [*clipping_findings(clipped), *rest_findings(rests)]
    capture = _with(capture, {unit.name: redrawn(unit, clipped) for unit in in_turn(units)})
    clocks = placement = None
    if with_body and _seen(capture):
        capture, alone, clocks, found = _compared(capture)
        findings += found
        capture, placement, found = _placed(capture, alone, assign)
        findings += found
    else:
        alone = _alone(capture)
    findings += stretch_findings(capture)
    capture = reaching_stretches(capture) if with_body else capture
    if refuse:
        refuse_unplaced(capture.units, placement)
    capture, scales, found = _scaled(capture, alone)
    findings += found
    field = check_field(capture, alone, weights)
    findings += field.findings
    return Intake(
        field.capture, sampling, clipped, rests, clocks, *scales, field, placement, worst_first(findings)
    )


def _with(capture: Capture, units: Mapping[str, Unit]) -> Capture:
    """The capture with other units."""
    return dataclasses.replace(capture, units=units)


def _seen(capture: Capture) -> list[Unit]:
    """Units that carry accelerometer and gyroscope."""
    return [u for u in capture.units.values() if {"accelerometer", "gyroscope"} <= u.sensors]


def _alone(capture: Capture) -> Unaided | None:
    """Units that carry accelerometer and gyroscope, each by itself; None where there is none."""
    return unaided(both) if (both := _seen(capture)) else None


def _compared(capture: Capture) -> tuple[Capture, Unaided, Clocks, tuple[Finding, ...]]:
    """Stamps put on one clock: first seconds, then what is left of them.

    Units by themselves take more memory than all their samples: let go before they are made anew.
    """

    def clocks_of(alone: Unaided) -> tuple[Clocks, ...]:
        units = [capture.units[name] for name in alone.units]
        unplaced = [u for u, unit in enumerate(units) if unit.segment is None]
        return clocks_by_trial(alone, neighbours(units, capture.model), unplaced, capture.trials)

    alone = unaided(_seen(capture))
    clocks, trials = clocks_of(alone), capture.trials
    apart = apart_by_trial(_seen(capture), clocks, trials, capture.calibrations)
    if any(of.late for of in apart):
        del alone
        capture = _with(capture, put_back(capture.units, apart, trials))
        alone = unaided(_seen(capture))
        clocks = clocks_of(alone)
    if any(of.apart.any() for of in clocks):
        del alone
        capture = _with(capture, in_each_trial(capture.units, clocks, trials))
        alone = unaided(_seen(capture))
    clocks = tuple(with_seconds(*both) for both in zip(clocks, apart, strict=True))
    worst = max(clocks, key=lambda of: float(np.max(np.abs(np.nan_to_num(of.offset)), initial=0.0)))
    return capture, alone, worst, trial_clock_findings(clocks, trials, apart)


def _placed(
    capture: Capture, alone: Unaided, assign: str
) -> tuple[Capture, Placement | None, tuple[Finding, ...]]:
    """Which unit is where; moved only when asked for."""
    placement, found = check_placement(capture, alone)
    if assign != "auto" or placement is None:
        return capture, placement, found
    return _with(capture, placed(capture.units, placement)), placement, placement_findings(placement, True)


def _scaled(capture: Capture, alone: Unaided | None):
    """Accelerometers that read gravity, gyroscopes that turn true, and whether axes fit."""
    if alone is None:
        return capture, ((), (), {}), ()
    g = capture.gravity
    windows = gravity_windows(alone, g)
    forces = accelerometer_scales(windows, g)
    turns = gyroscope_scales(alone, windows, g)
    axes = unit_axes(alone.signals, g)
    mixed = {one.unit for one in axes if one.wrong}  # their attitudes mean nothing
    forces = tuple(scale for scale in forces if scale.unit not in mixed)
    missed = gravity_missed(windows, forces, g)
    mixed |= {name for name, off in missed.items() if off > HIGH_BIAS}  # what misses gravity judges no turn
    turns = tuple(scale for scale in turns if scale.unit not in mixed)
    worn = in_turn(capture.units.values())
    units = {unit.name: turning_true(reading_gravity(unit, forces), turns) for unit in worn}
    found = (*accelerometer_findings(forces), *missed_findings(missed))
    found += (*gyroscope_findings(turns), *axes_findings(axes))
    return _with(capture, units), (forces, axes, missed), found
