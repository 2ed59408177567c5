"""A finished motion looked over: what can't be a person, what can't be trusted, what is worth knowing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ...core.findings import SEVERITIES, Finding, Findings, inferred_as_notes
from ...errors import InputError
from .checks.asymmetry import asymmetry, swapped_sides
from .checks.clipped_rates import clipped_rates
from .checks.forces import forces
from .checks.gimbal_lock import near_gimbal
from .checks.ground import feet
from .checks.interpenetration import interpenetration
from .checks.jumps import root_jumps, rotation_jumps
from .checks.ranges import joint_ranges, stiff_angles
from .checks.rates import joint_accelerations, joint_rates
from .checks.self_report import drift, headings, joint_centres, soft_tissue
from .checks.slips import slips
from .subject import Reviewed

if TYPE_CHECKING:
    from ...body.motion.poses import PoseSequence
    from ...fitting.result import Fit

FEWEST = 12  # frames of a motion that can be reviewed; chosen; not tried
CHECKS = (
    *(joint_ranges, stiff_angles, swapped_sides, slips, clipped_rates, rotation_jumps, root_jumps),
    *(joint_rates, joint_accelerations, joint_centres, headings, drift, soft_tissue),
    *(interpenetration, feet, forces, near_gimbal, asymmetry),
)
CAUTION = (
    "Findings are prompts for a professional's review, not a diagnosis or clearance. bodyfit is not a "
    "medical device."
)


def review(result: Fit | PoseSequence) -> Findings:
    """What a person should know about a motion before using it, worst first.

    Parameters
    ----------
    result : what `fit` returns, with or without standard deviations; or a pose sequence by itself

    Returns
    -------
    Findings: serious ones first, then by the error in degrees that they stand for, then by time.
        docs/findings.md lists the kinds, their numbers, limits and sources

    Raises
    ------
    InputError
        There are too few frames.

    Notes
    -----
    A check that lacks what it needs (masses, lengths, a fit) is left out without a word. Findings that the
    fit holds already, from before it, are carried over, but for those of a kind and unit that
    the review tells of itself, knowing what the fit made of it.
    """
    poses: PoseSequence = getattr(result, "poses", result)  # type: ignore[assignment]
    if len(poses.time) < FEWEST:
        raise InputError(f"review: found {len(poses.time)} frames, expected {FEWEST} at least")
    reviewed = Reviewed(
        poses,
        getattr(result, "summary", None),
        getattr(result, "joint_angle_sd", None) or {},
        getattr(result, "findings", ()),
    )
    found = [finding for check in CHECKS for finding in check(reviewed)]
    inferred = reviewed.summary.inferred_joints if reviewed.summary else ()
    return _ordered(inferred_as_notes([*found, *_from_before(reviewed, found)], inferred))


def _from_before(reviewed: Reviewed, found: list[Finding]) -> list[Finding]:
    """Findings of the fit; not those that the review tells itself."""
    told = {(finding.kind, name) for finding in found for name in (*finding.units, *finding.joints)}
    names = [(f, (*f.units, *f.joints)) for f in reviewed.findings]
    return [f for f, its in names if not its or any((f.kind, name) not in told for name in its)]


def _ordered(findings: list[Finding]) -> Findings:
    """Serious ones first, then by harm, then by time."""
    return Findings(
        sorted(
            findings, key=lambda f: (-SEVERITIES.index(f.severity), -f.harm_deg, f.start or 0.0, f.identifier)
        )
    )
