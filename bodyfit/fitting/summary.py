"""What was estimated and how good it is, as plain data: the content of summary.json."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..body.motion.poses import PoseSequence
from ..body.parts import Joint
from ..body.plain_data import body_data
from ..calibration.intake import Intake
from ..calibration.magnetic.field_gate import untrusted
from ..core.findings import Finding
from ..core.gravity import STANDARD_GRAVITY
from ..core.intervals import runs
from ..estimator.problem.estimate import Estimate
from ..estimator.problem.problem import Problem
from ..estimator.uncertainty.joint_angles import heading_sd
from ..estimator.uncertainty.lever_arms import told_lever_arms
from ..estimator.updates.joint_geometry import prior_of_levers
from ..recording.capture import Capture, unmeasured_joints
from ..recording.sampling import MOTION, sampling_of
from .fit_findings import HEADING_UNKNOWN
from .mounting_findings import open_directions
from .slip.detect import Slip
from .stretches import inferred_segments, stretches_of

if TYPE_CHECKING:
    from .track import Track


def summarise(
    capture: Capture,
    tracks: Sequence[Track],
    poses: PoseSequence,
    options: Mapping[str, Any],
    wall_time: float,
    slips: Sequence[Slip],
    intake: Intake,
    findings: Sequence[Finding],
) -> dict[str, Any]:
    """Everything that was found, what it rests on, and what to be wary of.

    Parameters
    ----------
    capture : as used
    tracks : one for the whole body, or one a unit when each was solved alone
    poses : the result
    options : of the call
    wall_time : s
    slips : of units on their segments
    intake : what was found before the fit
    findings : most harmful first

    Returns
    -------
    plain data: dicts, lists, numbers, text, None
    """
    from ..version import __version__

    signals = tracks[0].problem.signals
    joints = _joints(tracks, poses, unmeasured_joints(capture))
    units = _units(capture, tracks, intake)
    return {
        "bodyfit_version": __version__,
        "capture": capture.title or capture.source,
        "options": dict(options),
        "sampling": {
            "start_s": float(poses.time[0]),
            "end_s": float(poses.time[-1]),
            "frequency_hz": 1 / signals.step,
            "frames": len(poses.time),
            "stretches_s": stretches_of(poses.time, signals.step),
            "inferred_s": inferred_segments(tracks, capture.trials),
            "keyframe_hz": 1 / signals.key_step,
            "start_time": None if capture.start_time is None else capture.start_time.isoformat(),
            "trials": [trial.as_data() for trial in capture.trials],
        },
        "model": {
            "name": poses.model.name,
            "segments": len(poses.model.segments),
            "joints": len(poses.model.joints),
            "segments_without_unit": [s for s in poses.model.segments if s not in _worn_on(capture)],
        },
        "body": body_data(poses.model),
        "heading": {"reference": _heading(tracks), "facing_from": tracks[0].found.body.mounting.facing}
        | _earth(tracks[0].problem),
        "root_position": "followed from the standing foot"
        if poses.root_position is not None
        else "kept at zero",
        "units": units,
        "joints": joints,
        "residuals": {k: v for track in tracks for k, v in track.found.residuals.items()},
        "gyroscope_latency_s": tracks[0].found.late.latency,
        "clocks": _clocks(tracks),
        "solver": {
            "iterations": max(track.found.iterations for track in tracks),
            "converged": all(track.found.converged for track in tracks),
            "cost": sum(track.found.cost for track in tracks),
            "last_step_deg": float(np.degrees(max(track.found.last_step for track in tracks))),
        },
        "wall_time_s": wall_time,
        "slips": [{"unit": s.unit, "time_s": s.time, "angle_deg": float(np.degrees(s.angle))} for s in slips],
        "findings": [finding.as_data() for finding in findings],
        "warnings": [f.sentence for f in findings if f.severity != "note"],
    }


def _worn_on(capture: Capture) -> set[str]:
    return {str(unit.segment) for unit in capture.units.values()}


def _heading(tracks: Sequence[Track]) -> str:
    if all(track.found.trust.trusted.any() for track in tracks):
        return "magnetic north is +X"
    if len(tracks) == 1:
        return "the root segment faces +X at the first frame"
    return "every segment without a trusted magnetometer faces +X at the first frame"


def _earth(problem: Problem) -> dict[str, Any]:
    """The Earth's field at the capture's place; its declination leads from magnetic to true north."""
    if (earth := problem.earth) is None:
        return {}
    return {
        "declination_deg": float(np.degrees(earth.declination)),
        "earth_field": {
            "norm_ut": 1e6 * earth.norm,
            "dip_deg": float(np.degrees(earth.dip)),
            "model": earth.model,
            "year": earth.year,
            "note": earth.note or None,
        },
    }


def _field(problem: Problem, found: Estimate, unit: int) -> dict[str, Any]:
    """How far a unit's field was trusted, and where it was not."""
    trust = found.trust
    if np.isnan(trust.share[unit]):
        return {"magnetometer_trusted_share": None}
    known = found.average.field_known[:, [unit]]
    stretches = untrusted(trust.of([unit]), known, problem.signals.key_time)[0]
    return {
        "magnetometer_trusted_share": float(trust.share[unit]),
        "magnetometer_heading_sd_deg": float(np.degrees(trust.level[unit])) or None,
        "magnetometer_untrusted": [[round(a, 3), round(b, 3), why] for a, b, why in stretches],
    }


def _units(capture: Capture, tracks: Sequence[Track], intake: Intake) -> dict[str, Any]:
    """By unit: what was used and found."""
    scales = {one.unit: float(np.mean(one.factor)) for one in intake.accelerometers if one.sure}
    out = {}
    for track in tracks:
        problem, found = track.problem, track.found
        signals = problem.signals
        for u, name in enumerate(problem.signals.units):
            if name not in capture.units:
                continue
            used = [s for s, has in problem.signals.has.items() if has[u]]
            if "magnetometer" in used and not found.trust.trusted[:, u].any():
                used.remove("magnetometer")
            turning = problem.signals.has["gyroscope"][u]
            mounting = found.body.mounting
            out[name] = {
                "segment": track.segments[u],
                "sensors": used,
                "mounting_quat_xyzw": _quaternion(mounting.segment_from_unit[u]),
                "mounting_source": mounting.sources[u],
                "mounting_sd_deg": _plain(np.degrees(np.sqrt(np.diag(mounting.covariance[u])))),
                "mounting_covariance_rad2": mounting.covariance[u].tolist(),
                "mounting_open": list(open_directions(mounting, u)),
                "elastic_deg_per_g": _plain(np.degrees(found.body.elastic[u]) * STANDARD_GRAVITY),
                "gyroscope_bias_deg_per_s": _plain(np.degrees(found.state.bias[:, u].mean(0)))
                if turning
                else None,
                "accelerometer_scale": scales.get(name, 1.0),
                "heading_drift_removed_deg": _drift(problem, found, u) if turning else None,
                "field_untrusted_s": _untrusted(problem, found, u)
                if np.isfinite(found.trust.share[u])
                else None,
                "gaps": _gaps(capture, name, signals.time[0], signals.time[-1]),
            } | _field(problem, found, u)
    return out


def _drift(problem: Problem, found: Estimate, unit: int) -> float:
    """Heading that integrating the gyroscope as it is would have gained over the capture, deg."""
    up = found.state.R[:-1, unit, 1, :]
    return float(np.degrees(np.sum(up * found.state.bias[:-1, unit]) * problem.signals.key_step))


def _untrusted(problem: Problem, found: Estimate, unit: int) -> list[list[float]]:
    """[start, end] s of stretches in which the field was not trusted; shorter than a second is left out."""
    doubted = ~found.trust.trusted[:, unit]
    at = np.append(problem.signals.key_time, np.inf)[runs(doubted)]
    end = float(problem.signals.time[-1])
    return [[round(float(a), 3), round(min(float(b), end), 3)] for a, b in at if b - a >= 1.0]


def _gaps(capture: Capture, name: str, start: float, end: float) -> list[list[float]]:
    """[start, end] s of stretches without gyroscope or accelerometer samples, where the unit has one."""
    unit = capture.units[name]
    gaps = sampling_of(unit, capture.trials).gaps if unit.sensors & set(MOTION) else np.zeros((0, 2))
    return [[round(float(a), 4), round(float(b), 4)] for a, b in gaps if b > start and a < end]


def _clocks(tracks: Sequence[Track]) -> dict[str, dict[str, float]]:
    """Unit -> what the fit took off its stamps, where it did."""
    out = {}
    for track in tracks:
        late, time = track.found.late, track.problem.signals.time
        for u, name in enumerate(track.problem.signals.units):
            if late.offset[u] or late.drift[u]:
                rate = late.drift[u] / (0.5 * (time[-1] - time[0]))
                out[name] = {"offset_s": float(late.offset[u]), "rate_ppm": float(1e6 * rate)}
    return out


def _joints(tracks: Sequence[Track], poses: PoseSequence, inferred: Collection[str]) -> dict[str, Any]:
    """By joint: type, geometry, agreement, whether the heading is determined, angles."""
    out, together = {}, len(tracks) == 1 and bool(tracks[0].problem.ties)
    headings = heading_sd(tracks[0].found) if together else np.zeros(0)
    arms = _told_arms(tracks[0].found) if together else {}
    for i, (name, joint) in enumerate(poses.model.joints.items()):
        one = {
            "type": joint.type,
            "parent": joint.parent,
            "child": joint.child,
            "angles": {
                angle: {"min_deg": float(np.degrees(a.min())), "max_deg": float(np.degrees(a.max()))}
                | _range(joint, angle)
                for angle, a in poses.joint_angles[name].items()
            },
            "range_source": joint.range_source or None,
            "inferred": name in inferred,
        }
        if together:
            one |= arms.get(i, {}) | _axes(tracks[0], i)
            one |= _determined(tracks[0], i, float(headings[i]))
        out[name] = one
    return out


def _range(joint: Joint, angle: str) -> dict[str, list[float]]:
    """The model's range of an angle, where it gives one."""
    known = angle in joint.range
    return {"range_deg": np.round(np.degrees(joint.range[angle]), 9).tolist()} if known else {}


def _told_arms(found: Estimate) -> dict[int, dict[str, Any]]:
    """Lever arms and residuals, by tie."""
    problem, body, out = found.problem, found.body, {}
    prior = prior_of_levers(problem, body.ends, body.joints, body.mounting)
    levers, covariance = told_lever_arms(found, prior)
    sd = np.sqrt(np.diag(covariance)).reshape(-1, 6)
    for j, i in enumerate(body.joints):
        centre = problem.ties[i].joint.centre_in_parent
        out[i] = {
            "lever_arm_parent_m": _plain(levers[j, 0]),
            "lever_arm_child_m": _plain(levers[j, 1]),
            "lever_arm_sd_m": _plain(sd[j]),
            "lever_arm_source": "motion" if centre is None else "motion and body size",
            "residual_m_s2": float(body.joint_sd[j]),
        }
    return out


def _axes(track: Track, i: int) -> dict[str, Any]:
    """Hinge axis of one joint."""
    body, out = track.found.body, {}
    if i in body.axes:
        axis = body.axes[i]
        out |= {
            "hinge_axis_parent": _plain(axis.directions[0]),
            "hinge_axis_child": _plain(axis.directions[1]),
            "hinge_axis_sd_deg": float(np.degrees(axis.sd)),
            "hinge_play_deg": float(np.degrees(body.hinge_sd[i])),
        }
    return out


def _determined(track: Track, i: int, sd: float) -> dict[str, Any]:
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
    return {
        "relative_heading_sd_deg": float(np.degrees(sd)),
        "determined": bool(sd <= HEADING_UNKNOWN and worn),
        "note": "; ".join(notes) or None,
    }


def _quaternion(R: np.ndarray) -> list[float]:
    from scipy.spatial.transform import Rotation

    return _plain(Rotation.from_matrix(R).as_quat(canonical=True))


def _plain(values: np.ndarray) -> list:
    """Nested lists, rounded to a millionth."""
    return np.round(values, 6).tolist()
