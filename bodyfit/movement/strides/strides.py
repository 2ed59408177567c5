"""From a capture or a fit to its strides."""

from __future__ import annotations

from collections.abc import Mapping

from ...body.motion.poses import PoseSequence
from ...core.findings import Finding, worst_first
from ...errors import CannotReconstructError, InputError
from ...feet.samples import foot_samples
from ...feet.smoother import foot_path
from ...fitting.result import Fit
from ...recording.capture import Capture, Unit
from .findings import stride_findings
from .foot_motion import SIDES, FootMotion, motion_of_body, motion_of_path
from .result import FootTrack, Strides
from .swings import swings
from .table import events_of, in_order, strides_of
from .without_feet import CALVES, OTHER, POCKETS, strides_without_feet


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
        return strides_of_feet(motions, f"a fitted body: {', '.join(feet)}")
    units = feet_of(recorded)
    if not units:
        return _without_feet(recorded)
    with threadpool_limits(1):  # blocks of this size lose more than they gain by threads
        motions = {
            side: motion_of_path(foot_path(foot_samples(unit, recorded.gravity)), side)
            for side, unit in units.items()
        }
        return strides_of_feet(motions, f"units on feet: {', '.join(unit.name for unit in units.values())}")


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


def strides_of_feet(motions: Mapping[str, FootMotion], found_from: str) -> Strides:
    """Strides of one or two feet whose motion is known.

    Parameters
    ----------
    motions : side -> motion
    found_from : in words

    Returns
    -------
    Strides

    Raises
    ------
    CannotReconstructError
        No foot swings.
    """
    found = {side: swings(motion) for side, motion in motions.items()}
    if not any(len(swing) for swing in found.values()):
        raise CannotReconstructError(
            "strides: no foot swings in this recording, expected at least one step; give a part of it in "
            "which the wearer walks, and check which segment each unit is on"
        )
    events, rows = [], []
    for side, motion in motions.items():
        events += events_of(motion, found[side])
        rows += strides_of(motion, found[side], found.get(OTHER.get(side, "")))
    tracks = {side: FootTrack(side, motion.time, motion.place) for side, motion in motions.items()}
    told: list[Finding] = stride_findings(motions, found)
    return Strides(
        tuple(sorted(events, key=lambda event: (event.time, event.side))),
        in_order(rows),
        tracks,
        found_from,
        worst_first(told),
    )
