"""Stretches of time with a declared meaning, held against what each unit recorded."""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from ..core.findings import Finding
from ..errors import InputError
from ..recording.capture import LEAST_SEEN_S, Calibration, Capture, Unit

MOST_PADDED = 100_000  # samples that a gap at an end is told by; by reasoning: a quarter of an hour at 100 Hz
ROUNDING = 1e-6  # of a sample, by which a stamp may lie beyond; by definition


def reaching_stretches(capture: Capture) -> Capture:
    """The capture with a gap before or after units that began too late or ended too early for a stretch.

    Units are fitted over their common time, so that one that missed a pose would take it from all others.

    Parameters
    ----------
    capture : its units on one clock

    Returns
    -------
    Capture, where every declared stretch that a unit recorded lies in the common time
    """
    stretches = [c for c in capture.calibrations if any(_recorded(u.time, c) for u in capture.units.values())]
    first, last = _common(capture)
    missed = [c for c in stretches if not c.seen_within(first, last)]
    if not missed:
        return capture
    began = min(unit.time[0] for unit in capture.units.values())
    ended = max(unit.time[-1] for unit in capture.units.values())
    start = max(began, min(first, *(c.start for c in missed)))
    end = min(ended, max(last, *(c.end for c in missed)))
    units = {name: _reaching(unit, start, end) for name, unit in capture.units.items()}
    return dataclasses.replace(capture, units=units)


def _reaching(unit: Unit, start: float, end: float) -> Unit:
    """The unit with samples that are not known, from `start` to `end`."""
    step = float(np.median(np.diff(unit.time)))
    before = max(0, math.ceil((unit.time[0] - start) / step - ROUNDING))
    after = max(0, math.ceil((end - unit.time[-1]) / step - ROUNDING))
    if not before and not after:
        return unit
    early = unit.time[0] - _spread(before, step, len(unit.time))[::-1]
    late = unit.time[-1] + _spread(after, step, len(unit.time))
    before, after = len(early), len(late)
    padded = {
        sensor: np.pad(getattr(unit, sensor), ((before, after), (0, 0)), constant_values=np.nan)
        for sensor in sorted(unit.sensors)
    }
    return dataclasses.replace(unit, time=np.concatenate([early, unit.time, late]), **padded)


def _spread(count: int, step: float, samples: int) -> np.ndarray:
    """Times from zero on, s, that reach as far as `count` steps; where these are many, fewer and wider."""
    some = count if count <= MOST_PADDED else min(MOST_PADDED, samples // 4)  # the usual step stays usual
    return step * (count / max(some, 1)) * np.arange(1, some + 1)


def _common(capture: Capture) -> tuple[float, float]:
    """Start and end of the time that all units recorded, s."""
    units = capture.units.values()
    return max(float(u.time[0]) for u in units), min(float(u.time[-1]) for u in units)


def stretch_findings(capture: Capture) -> tuple[Finding, ...]:
    """What to say about declared poses and movements that units did not record.

    Parameters
    ----------
    capture : its units on one clock

    Returns
    -------
    tuple of Finding, "stretch-unseen"; the estimator passes over what is not seen

    Raises
    ------
    InputError
        A stretch that is not finite, does not last, or that no unit recorded any of.
    """
    return tuple(f for c in capture.calibrations if (f := _judged(capture, c)) is not None)


def _judged(capture: Capture, stretch: Calibration) -> Finding | None:
    """One stretch."""
    _refuse_outside(capture, stretch)
    blind = tuple(name for name, unit in capture.units.items() if not _recorded(unit.time, stretch))
    if not blind:
        return None
    first, last = _common(capture)
    return Finding(
        "stretch-unseen",
        "warning",
        f"the declared stretch ({stretch.kind}) at {stretch.start:.2f} to {stretch.end:.2f} s was not "
        f"recorded by {', '.join(blind)}; the units' common time is {first:.2f} to {last:.2f} s",
        "declare a stretch in the units' common time, leave out the units that miss it, or give mountings",
        units=blind,
        start=stretch.start,
        end=stretch.end,
        value=max(0.0, min(stretch.end, last) - max(stretch.start, first)),
        threshold=LEAST_SEEN_S,
        measure="s in common",
        source="two keyframes",
        handled="it tells nothing about how these units sit; unless that is given, their joints' angles are "
        "marked as not known",
        harm_deg=60.0,
    )


def _recorded(time: np.ndarray, stretch: Calibration) -> bool:
    """Whether a unit has stamps in a stretch."""
    return bool(np.any((time >= stretch.start) & (time <= stretch.end)))


def _refuse_outside(capture: Capture, stretch: Calibration) -> None:
    """A stretch that is none, or lies wholly outside the recording."""
    where = f"calibration ({stretch.kind}) {stretch.start:g} to {stretch.end:g} s"
    if not (math.isfinite(stretch.start) and stretch.start < stretch.end < math.inf):
        raise InputError(f"{where}: expected two finite times, the end after the start")
    first = min(unit.time[0] for unit in capture.units.values())
    last = max(unit.time[-1] for unit in capture.units.values())
    if not stretch.seen_within(first, last):
        raise InputError(
            f"{where}: outside the recording, {first:.2f} to {last:.2f} s; correct its times or remove it"
        )
