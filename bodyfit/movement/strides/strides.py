"""From a capture or a fit to its strides."""

from __future__ import annotations

from ...body.motion.poses import PoseSequence
from ...core.findings import worst_first
from ...errors import CannotReconstructError, InputError
from ...fitting.result import Fit
from ...recording.capture import Capture, Unit
from .belt import against_belt
from .foot_motion import SIDES, motion_of_body
from .pieces import Told, told_by, told_by_units, tracks_of
from .result import Strides
from .table import in_order
from .without_feet import CALVES, POCKETS, strides_without_feet


def strides(recorded: Capture | Fit) -> Strides:
    """Strides, their events and the feet's paths.

    Parameters
    ----------
    recorded : a capture with a unit on a foot (segment `l_hindfoot`, `r_hindfoot`, or `hindfoot` where the
        side is not known), or a fit of a body with feet; of a capture with units on calves only, a thigh or
        the pelvis, times of steps are told and nothing else

    Returns
    -------
    Strides; each value that these sensors can't tell is None

    Raises
    ------
    InputError
        No unit is worn on a foot, or its samples can't be used; a fitted body has no feet, or it is not known
        where it went.
    CannotReconstructError
        No step is in it.
    """
    from threadpoolctl import threadpool_limits

    if isinstance(recorded, Fit):
        feet = feet_of_body(recorded.poses)
        motions = {SIDES[foot]: motion_of_body(recorded.poses, foot) for foot in feet}
        path = recorded.summary.root_path
        if path is not None and path.belt_speed_m_s is not None:
            motions = against_belt(motions)
        told = told_by(motions, None if path is None else path.stride_length_sd_m)
        return _strides(told, f"a fitted body: {', '.join(feet)}")
    units = feet_of(recorded)
    if not units:
        return _without_feet(recorded)
    with threadpool_limits(1):  # blocks of this size lose more than they gain by threads
        told = told_by_units(units, recorded.gravity)
    return _strides(told, f"units on feet: {', '.join(unit.name for unit in units.values())}")


def feet_of(capture: Capture) -> dict[str, Unit]:
    """Side -> unit worn on that foot; empty: there is none.

    Parameters
    ----------
    capture : any
    """
    return {SIDES[unit.segment]: unit for unit in capture.units.values() if unit.segment in SIDES}


def _without_feet(capture: Capture) -> Strides:
    found = strides_without_feet(capture)
    if found is None:
        worn = ", ".join(f"{unit.name} on {unit.segment}" for unit in capture.units.values())
        raise InputError(
            f"strides: no unit is worn on a foot (found {worn or 'no unit'}); expected segment "
            f"{', '.join(SIDES)}, or for times only {', '.join([*CALVES, *POCKETS])}; name the segment of "
            "the unit in setup.toml"
        )
    return found


def feet_of_body(poses: PoseSequence) -> list[str]:
    """Segments of a fitted body that are feet.

    Parameters
    ----------
    poses : of the fit

    Raises
    ------
    InputError
        There is none of known length, or it is not known where the body went.
    """
    segments = poses.model.segments
    feet = [foot for foot in SIDES if foot in segments and segments[foot].length]
    if not feet:
        raise InputError(
            f"strides: the fitted body {poses.model.name!r} has no foot of known length (segments "
            f"{', '.join(segments)}); fit a body with feet and give the person's stature, or give the capture"
        )
    if poses.root_position is None or poses.positions is None:
        raise InputError(
            "strides: this fit does not tell where the body went: it takes both feet and all joint centres. "
            "Give the capture instead, whose foot units tell it by themselves"
        )
    return feet


def _strides(told: Told, found_from: str) -> Strides:
    if not told.events:
        raise CannotReconstructError(
            "strides: no foot swings in this recording, expected at least one step; give a part of it in "
            "which the wearer walks, and check which segment each unit is on"
        )
    return Strides(
        tuple(sorted(told.events, key=lambda event: (event.time, event.side))),
        in_order(told.strides),
        tracks_of(told),
        found_from,
        worst_first([finding for _, finding in told.findings]),
    )
