"""The units and sensors of a capture that a fit uses."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping

from ..errors import CannotReconstructError, InputError, suggest
from ..recording.capture import SENSORS, Capture, Unit


def selected(capture: Capture, sensors: Collection[str] | None, leave_out: Collection[str]) -> Capture:
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
