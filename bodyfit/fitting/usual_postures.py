"""What is said about usual postures that a fit believed."""

from __future__ import annotations

from collections.abc import Sequence

from ..core.findings import Finding
from .track import Track


def told(tracks: Sequence[Track]) -> tuple[Finding, ...]:
    """A note that names the joints whose usual posture took part, or nothing.

    Parameters
    ----------
    tracks : solved

    Returns
    -------
    tuple of Finding, "usual-postures"
    """
    problem = tracks[0].problem
    joints = tuple(
        tie.joint.name
        for tie in problem.ties
        if not problem.both_measured(tie) and tie.joint.name in problem.usual_postures
    )
    if not joints:
        return ()
    return (
        Finding(
            "usual-postures",
            "note",
            f"{', '.join(joints)}: no unit on both sides; where recorded people usually hold "
            f"{'this joint' if len(joints) == 1 else 'these joints'} counts there, weakly"
            + (", and that a foot that stands lies level" if len(problem.soles) else ""),
            "for who moves otherwise (a prosthesis, a cast, a wheelchair) name the joints in setup.toml, "
            "[body] unusual_joints, or fit with --no-usual-postures",
            joints=joints,
            source="no limit: told wherever they count",
        ),
    )
