"""Figures of joints: geometry, agreement, whether the heading is determined, angles."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from ...body.motion.poses import PoseSequence
from ...body.parts import Joint
from ...core.angles import extent
from ...core.arrays.scratch import give_back
from ...estimator.problem.estimate import Estimate
from ...estimator.uncertainty.joint_angles import heading_sd
from ...estimator.uncertainty.lever_arms import told_lever_arms
from ...estimator.updates.joint_geometry import prior_of_levers
from ...results.joints import (
    AngleFigures,
    HingeFigures,
    JointCentreFigures,
    JointFigures,
    JointHeadingFigures,
)
from ..fit_findings import HEADING_UNKNOWN
from ..track import Track
from .plain import exact, figure, rounded


def joint_figures(
    tracks: Sequence[Track],
    poses: PoseSequence,
    inferred: Collection[str],
    spread: Mapping[str, Mapping[str, np.ndarray]],
) -> dict[str, JointFigures]:
    """By joint: type, geometry, agreement, whether the heading is determined, angles.

    Parameters
    ----------
    tracks : one for the whole body, or one a unit when each was solved alone
    poses : the result
    inferred : joints with no unit on one side
    spread : joint -> angle -> (T,) rad, standard deviation

    Returns
    -------
    joint -> JointFigures
    """
    together = len(tracks) == 1 and bool(tracks[0].problem.ties)
    headings = heading_sd(tracks[0].found) if together else np.zeros(0)
    centres = _centres(tracks[0].found) if together else {}
    out = {}
    for i, (name, joint) in enumerate(poses.model.joints.items()):
        out[name] = JointFigures(
            type=joint.type,  # type: ignore[arg-type] - checked by Joint
            parent=joint.parent,
            child=joint.child,
            angles={
                a: _angle(joint, a, values, spread.get(name, {}).get(a))
                for a, values in poses.joint_angles[name].items()
            },
            range_source=joint.range_source or None,
            inferred=name in inferred,
            sequence=joint.sequence,
            centre=centres.get(i),
            hinge=_hinge(tracks[0], i) if together else None,
            heading=_heading(tracks[0], i, float(headings[i])) if together else None,
        )
        give_back()
    return out


def _angle(joint: Joint, angle: str, values: np.ndarray, spread: np.ndarray | None) -> AngleFigures:
    """Least and most while it is known, and the model's range where it gives one."""
    known = joint.range.get(angle)
    low, high = np.degrees(extent(values, spread))
    return AngleFigures(
        figure(low),
        figure(high),
        None if known is None else exact(np.round(np.degrees(known), 9)),
    )


def _centres(found: Estimate) -> dict[int, JointCentreFigures]:
    """By tie: lever arms, and how well the two units agree."""
    problem, body, out = found.problem, found.body, {}
    prior = prior_of_levers(problem, body.ends, body.joints, body.mounting)
    levers, covariance = told_lever_arms(found, prior)
    sd = np.sqrt(np.diag(covariance)).reshape(-1, 6)
    for j, i in enumerate(body.joints):
        unknown = problem.ties[i].joint.centre_in_parent is None
        out[i] = JointCentreFigures(
            lever_arm_parent_m=rounded(levers[j, 0]),
            lever_arm_child_m=rounded(levers[j, 1]),
            lever_arm_sd_m=rounded(sd[j]),
            lever_arm_source="motion" if unknown else "motion and body size",
            residual_m_s2=figure(body.joint_sd[j]),
        )
    return out


def _hinge(track: Track, i: int) -> HingeFigures | None:
    """The axis of one hinge."""
    body = track.found.body
    if i not in body.axes:
        return None
    axis = body.axes[i]
    return HingeFigures(
        hinge_axis_parent=rounded(axis.directions[0]),
        hinge_axis_child=rounded(axis.directions[1]),
        hinge_axis_sd_deg=figure(np.degrees(axis.sd)),
        hinge_play_deg=figure(np.degrees(body.hinge_sd[i])),
    )


def _heading(track: Track, i: int, sd: float) -> JointHeadingFigures:
    """Whether the child's heading against its parent's, sd in rad, is known, and what is not."""
    tie, notes = track.problem.ties[i], []
    worn = track.problem.both_measured(tie)
    if not worn:
        notes.append(
            "a segment of it carries no unit: inferred from the units around, see its standard deviation"
        )
    if tie.joint.type == "hinge" and i not in track.found.body.axes:
        notes.append("its axis is not shown by this motion; bend it through a wider range")
    if sd > HEADING_UNKNOWN:
        notes.append(
            "relative heading not determined: too little motion, and no trusted magnetometer; move more, or "
            "wear a magnetometer away from iron"
        )
    return JointHeadingFigures(
        relative_heading_sd_deg=figure(np.degrees(sd)),
        determined=bool(sd <= HEADING_UNKNOWN and worn),
        note="; ".join(notes) or None,
    )
