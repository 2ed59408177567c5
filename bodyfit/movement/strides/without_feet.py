"""Strides of a capture without a unit on a foot: times from calves, steps from a pocket or the waist."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ...core.findings import Finding
from ...errors import CannotReconstructError
from ...feet.samples import foot_samples
from ...recording.capture import Capture, Unit
from .pieces import OTHER
from .result import Event, Stride, Strides
from .shank import calf_swings
from .steps import SD_S, step_times
from .swings import Swings
from .table import LONGEST_S, double_support, in_order

CALVES = {"l_calf": "left", "r_calf": "right", "calf": "none"}
POCKETS = ("l_thigh", "r_thigh", "thigh", "pelvis")  # in the order of how near to a foot they are


def strides_without_feet(capture: Capture) -> Strides | None:
    """When strides begin and end, where no unit is worn on a foot.

    Parameters
    ----------
    capture : any

    Returns
    -------
    Strides without lengths, heights, turns; of a thigh or the waist also without sides; None: no unit is worn
    on a calf with both sensors, nor on a thigh or the pelvis with an accelerometer

    Raises
    ------
    CannotReconstructError
        Nobody walks in it.
    """
    both = {"accelerometer", "gyroscope"}
    calves = {
        CALVES[u.segment]: u for u in capture.units.values() if u.segment in CALVES and u.sensors >= both
    }
    if calves:
        return _of_calves(calves, capture.gravity)
    worn = {u.segment: u for u in capture.units.values() if u.sensors & {"accelerometer"}}
    for segment in POCKETS:
        if segment in worn:
            return _of_steps(worn[segment])
    return None


def _of_calves(calves: Mapping[str, Unit], gravity: float) -> Strides:
    found = {side: calf_swings(foot_samples(unit, gravity)) for side, unit in calves.items()}
    if not any(len(swung) for swung in found.values()):
        raise CannotReconstructError(NOBODY.format(", ".join(unit.name for unit in calves.values())))
    rows, events = [], []
    for side, swung in found.items():
        rows += _rows(side, swung, found.get(OTHER.get(side, "")))
        for name, times in swung.times.items():
            sds = swung.sds[name]
            events += [Event(float(t), float(sd), side, name) for t, sd in zip(times, sds, strict=True)]
    names = ", ".join(unit.name for unit in calves.values())
    return Strides(
        _sorted(events),
        in_order(rows),
        {},
        f"units on calves: {names}",
        (_told(names, "lengths, heights, turns"),),
    )


def _rows(side: str, swung: Swings, other: Swings | None) -> list[Stride]:
    """Strides of one leg, from heel strike to the next with one toe off between."""
    strikes, offs = swung.times["heel_strike"], swung.times["toe_off"]
    out = []
    for start, off, end in zip(strikes[:-1], offs[1:], strikes[1:], strict=True):
        if start < off < end and end - start < LONGEST_S:
            both = double_support(float(start), float(off), float(end), other)
            out.append(_stride(side, float(start), float(end), float(off), both))
    return out


def _stride(
    side: str, start: float, end: float, off: float | None = None, both: float | None = None
) -> Stride:
    stance = None if off is None else (off - start) / (end - start)
    return Stride(side, start, None, off, None, end, None, None, stance, both, None, None, None)


def _of_steps(unit: Unit) -> Strides:
    bouts = step_times(unit)
    if not bouts:
        raise CannotReconstructError(NOBODY.format(unit.name))
    rows = [
        _stride("none", float(a), float(b))
        for bout in bouts
        for a, b in zip(bout[:-2], bout[2:], strict=True)
        if b - a < LONGEST_S
    ]
    events = [Event(float(t), SD_S, "none", "heel_strike") for t in np.concatenate(bouts)]
    missing = "lengths, heights, turns, which foot, when a foot leaves"
    return Strides(
        _sorted(events),
        in_order(rows),
        {},
        f"steps felt by {unit.name} on {unit.segment}: {len(events)}",
        (_told(unit.name, missing),),
    )


def _sorted(events: list[Event]) -> tuple[Event, ...]:
    return tuple(sorted(events, key=lambda event: (event.time, event.side)))


NOBODY = (
    "strides: nobody walks in what {} recorded, expected a few regular steps; give a part of the recording "
    "in which the wearer walks, and check which segment each unit is on"
)


def _told(names: str, missing: str) -> Finding:
    return Finding(
        "steps-only",
        "note",
        f"without a unit on a foot only times are told, by {names}: not {missing}",
        "wear a unit on each foot for these; hopping and jumping in rhythm pass for steps",
        source="no limit: a calf, thigh or waist does not stand still while its foot does",
    )
