"""Stretches of time with a declared meaning, held against what each unit recorded."""

from __future__ import annotations

import math

import numpy as np

from ..core.findings import Finding
from ..errors import InputError
from ..recording.capture import LEAST_SEEN_S, Calibration, Capture


def stretch_findings(capture: Capture, together: bool) -> tuple[Finding, ...]:
    """What to say about declared poses and movements that units did not record.

    Parameters
    ----------
    capture : its units on one clock
    together : whether units are fitted together, so that only their common time counts

    Returns
    -------
    tuple of Finding, "stretch-unseen"; the estimator passes over what is not seen

    Raises
    ------
    InputError
        A stretch that is not finite, does not last, or that no unit recorded any of.
    """
    return tuple(f for c in capture.calibrations if (f := _judged(capture, c, together)) is not None)


def _judged(capture: Capture, stretch: Calibration, together: bool) -> Finding | None:
    """One stretch."""
    _refuse_outside(capture, stretch)
    blind = tuple(name for name, unit in capture.units.items() if not _recorded(unit.time, stretch))
    first = max(unit.time[0] for unit in capture.units.values())
    last = min(unit.time[-1] for unit in capture.units.values())
    lost = together and not stretch.seen_within(first, last)
    if not blind and not lost:
        return None
    named = blind or tuple(capture.units)
    return Finding(
        "stretch-unseen",
        "serious" if lost else "warning",
        f"the declared stretch ({stretch.kind}) at {stretch.start:.2f} to {stretch.end:.2f} s was not "
        f"recorded by {', '.join(named)}; the units' common time is {first:.2f} to {last:.2f} s",
        "declare a stretch in the units' common time, leave out the units that miss it, or give mountings",
        units=named,
        start=stretch.start,
        end=stretch.end,
        value=max(0.0, min(stretch.end, last) - max(stretch.start, first)),
        threshold=LEAST_SEEN_S,
        measure="s in common",
        source="two keyframes",
        handled="it tells nothing about how " + ("any unit sits" if lost else "these units sit"),
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
