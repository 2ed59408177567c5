"""What is plainly broken in a capture's sensors, named and left out before anything is made of it."""

from __future__ import annotations

import dataclasses

import numpy as np

from ...core.findings import Finding
from ...errors import CannotReconstructError
from ...recording.capture import Capture, Unit, in_turn
from .gravity_level import gravity_level, gravity_level_findings, with_gravity
from .impossible import without_impossible
from .same_signal import same_signal_findings, same_signals
from .stuck import stuck, stuck_findings, without_stuck

BESIDE_M = (
    0.5  # m by which a unit may lie beside its segment's length: half a wide trunk, a strap (by reasoning)
)
TALLEST_M = 2.8  # m, where no length is known: the tallest person on record was 2.72 m (from memory)


def sound(capture: Capture) -> tuple[Capture, tuple[Finding, ...]]:
    """The capture without what can't be used, and what that was.

    Parameters
    ----------
    capture : as read

    Returns
    -------
    capture, findings : "samples-impossible", "same-signal", "sensor-stuck", "gravity-not-read",
        "units-change", "place-outside"

    Raises
    ------
    CannotReconstructError
        Nothing is left.
    """
    capture, odd = _possible(capture)
    pairs = same_signals(list(capture.units.values()))
    twice = {name for a, b, _ in pairs for name in (a, b)}
    units = [unit for unit in capture.units.values() if unit.name not in twice]
    held = tuple(one for unit in in_turn(units) for one in stuck(unit))
    found = (gravity_level(unit, capture.gravity) for unit in in_turn(units))
    levels = tuple(level for level in found if level is not None)
    far = tuple(f for unit in units if (f := _far_finding(capture, unit)) is not None)
    findings = (
        *odd,
        *same_signal_findings(pairs),
        *stuck_findings(held),
        *gravity_level_findings(levels),
        *far,
    )
    if not findings:
        return capture, ()
    astray = {name for finding in far for name in finding.units}
    mended = [with_gravity(without_stuck(unit, held), levels) for unit in units]
    mended = [dataclasses.replace(u, position=None) if u.name in astray else u for u in mended]
    left = {unit.name: unit for unit in mended if unit.sensors}
    if not left:
        told = "; ".join(f.what for f in findings[:3])
        raise CannotReconstructError(f"no unit has a sensor that can be used: {told}")
    return dataclasses.replace(capture, units=left), findings


def _possible(capture: Capture) -> tuple[Capture, tuple[Finding, ...]]:
    """The capture without samples that no sensor reads, and what they were."""
    pairs = [without_impossible(unit) for unit in in_turn(capture.units.values())]
    if not any(found for _, found in pairs):
        return capture, ()
    units = {unit.name: unit for unit, _ in pairs}
    return dataclasses.replace(capture, units=units), tuple(f for _, found in pairs for f in found)


def _far_finding(capture: Capture, unit: Unit) -> Finding | None:
    """A place that can't be on the unit's segment."""
    if unit.position is None or unit.segment is None:
        return None
    length = capture.model.segments[unit.segment].length
    limit = TALLEST_M if length is None else length + BESIDE_M
    away = float(np.linalg.norm(unit.position))
    if away <= limit:
        return None
    return Finding(
        "place-outside",
        "serious",
        f"{unit.name}: position_m lies {away:.3g} m from the origin of {unit.segment}, outside the segment",
        "give position_m in metres, from the segment's origin",
        units=(unit.name,),
        segments=(unit.segment,),
        value=away,
        threshold=limit,
        measure="m",
        source=f"the segment's length and {BESIDE_M} m; {TALLEST_M} m where it is not known (from memory)",
        handled="position left out",
        harm_deg=30.0,
    )
