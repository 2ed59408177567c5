"""How far a solution lies from another motion: every joint, the gap where a unit is missing, over time."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from ...body.chain import BodyModel
from ...body.motion.joint_angles import joint_angles, wrap
from ...core.robust import BAND_95
from ...errors import CannotReconstructError
from ...fitting.result import Fit
from .reference import Reference, heading_offset, pair_of
from .rotation_error import Pair, best_lag, picked
from .scores import PARTS, Scored, overall, rounded, scored

BINS = 600  # stretches of time that a curve has, at most; as BINS of the inspection


def score_motion(
    solution: Fit, reference: Reference, missing: Sequence[str] = (), align_clock: bool = False
) -> dict[str, Any]:
    """Figures and curves of every joint that the reference shows.

    Parameters
    ----------
    solution : to be judged
    reference : what to judge by
    missing : segments without a unit: each is judged by itself too, and so are its neighbours
    align_clock : take a constant offset off the reference's clock

    Returns
    -------
    joints, overall, across, inferred, curve, parts, clock_offset_s of a `CaseResult`

    Raises
    ------
    CannotReconstructError
        The reference covers no time of the solution.
    """
    model = solution.poses.model
    solution = _facing(solution, reference, [name for name in model.segments if name not in missing])
    ends = _ends(model, reference)
    pairs = {name: pair_of(solution, reference, *pair) for name, pair in ends.items()}
    lag = best_lag(list(pairs.values())) if align_clock and _overlap(pairs) else 0.0
    if not all(len(pair.true_time) > 1 and pair.covered(lag).any() for pair in pairs.values()):
        raise CannotReconstructError("the reference covers no time of this solution")
    bands = {name: _joint_band(solution, reference, name, pair, lag) for name, pair in pairs.items()}

    def judged(parent: str | None, child: str, band: float | None = None) -> Scored:
        pair = pair_of(solution, reference, parent, child)
        time, true = (reference.time[:0], None) if parent is None else _parent(reference, parent, child)
        carried = None if true is None else Pair(pair.time, pair.found, time, true)
        return scored(pair, carried, lag, reference.magnetic, reference.meanwhile, band)

    joints = {name: judged(*ends[name], bands[name]) for name in ends}
    across = {f"{p} to {c}": judged(p, c) for p, c in neighbours(model, missing, reference.rotations)}
    alone = [name for name in missing if name in reference.rotations]
    inferred = {name: judged(None, name, _segment_band(solution, reference, name, lag)) for name in alone}
    curve, parts = _curves(joints)
    return {
        "joints": {name: one.score for name, one in joints.items()},
        "overall": overall(list(joints.values())),
        "across": {name: one.score for name, one in across.items()},
        "inferred": {name: one.score for name, one in inferred.items()},
        "curve": curve,
        "parts": parts,
        "clock_offset_s": float(lag),
    }


def neighbours(model: BodyModel, missing: Sequence[str], shown: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Segments with a unit that only segments without one lie between.

    Parameters
    ----------
    model : the body
    missing : segments without a unit
    shown : those that may be compared

    Returns
    -------
    pairs : upper, lower; of the branches of a missing root the first against each other one
    """
    parents = {joint.child: joint.parent for joint in model.joints.values()}
    out: list[tuple[str, str]] = []
    tops: list[str] = []
    for child, above in parents.items():
        if child in missing or above not in missing or child not in shown:
            continue
        while above in missing and above in parents:
            above = parents[above]
        if above not in missing:
            out.append((above, child))
        else:
            tops.append(child)
    return [pair for pair in out if pair[0] in shown] + [(tops[0], other) for other in tops[1:]]


def _ends(model: BodyModel, reference: Reference) -> dict[str, tuple[str | None, str]]:
    """Joint -> parent and child, of those that the reference shows; a single segment is its own joint."""
    joints = {name: (joint.parent, joint.child) for name, joint in model.joints.items()}
    return {n: pair for n, pair in joints.items() if set(pair) <= set(reference.rotations)} or {
        model.root: (None, model.root)
    }


def _facing(solution: Fit, reference: Reference, carried: Sequence[str]) -> Fit:
    """The solution turned as a whole so that it faces as the reference does."""
    turn = Rotation.from_rotvec([0.0, -heading_offset(solution, reference, carried), 0.0])
    rotations = {name: turn * R for name, R in solution.rotations.items()}
    return dataclasses.replace(solution, poses=dataclasses.replace(solution.poses, rotations=rotations))


def _parent(reference: Reference, parent: str, child: str) -> tuple[np.ndarray, Rotation]:
    """The parent where both are seen, so that it covers the same times as the pair."""
    rows = reference.rows(parent, child)
    return reference.time[rows], picked(reference.rotations[parent], rows)


def _overlap(pairs: Mapping[str, Pair]) -> bool:
    """Whether some time is covered at every lag that may be tried."""
    return all(
        len(pair.true_time) > 1 and pair.covered(lag).any()
        for pair in pairs.values()
        for lag in (-0.03, 0.0, 0.03)
    )


def _joint_band(solution: Fit, reference: Reference, name: str, pair: Pair, lag: float) -> float | None:
    """Share of a joint's angles and times at which |found − true| is within the 95 % band; None: no band.

    The band is the reference's where it is a solution itself, else the solution's own.
    """
    joints = solution.poses.model.joints
    if name not in joints:
        return _segment_band(solution, reference, name, lag)
    known = (solution.joint_angle_sd if reference.angle_sd is None else reference.angle_sd) or {}
    if name not in known:
        return None
    at = pair.covered(lag)
    found, true = (joint_angles(joints[name], turn.as_matrix()) for turn in pair.matched(lag))
    inside = []
    for angle, sd in known[name].items():
        own = reference.angle_sd is None
        there = sd[at] if own else np.interp(pair.time[at] + lag, reference.time, sd)
        inside.append(np.abs(wrap(found[angle] - true[angle])) <= BAND_95 * there + 1e-9)
    return float(np.mean(inside))


def _segment_band(solution: Fit, reference: Reference, name: str, lag: float) -> float | None:
    """Share of times and of three axes at which a segment's error is within its own 95 % band; None: none."""
    sure = solution.segment_sd.get(name)
    pair = pair_of(solution, reference, None, name)
    if sure is None or len(pair.true_time) < 2:
        return None
    at = pair.covered(lag)
    if not at.any():
        return None
    found, true = pair.matched(lag)
    error = np.abs((found * true.inv()).as_rotvec())
    sd = np.stack([sure.inclination, sure.heading, sure.inclination], axis=1)[at]
    return float(np.mean(error <= BAND_95 * sd + 1e-9))


def _curves(
    joints: Mapping[str, Scored],
) -> tuple[dict[str, list[float | None]], dict[str, list[float | None]]]:
    """Root mean square error by stretch of time, degrees: over all joints and by joint; and by its parts."""
    start = min(one.time[0] for one in joints.values())
    end = max(one.time[-1] for one in joints.values())
    count = min(BINS, max(len(one.time) for one in joints.values()))
    edges = np.linspace(start, end, count + 1)

    def over_all(part: str) -> np.ndarray:
        return _mean_known(np.stack([_binned(one.time, one.parts[part], edges) for one in joints.values()]))

    squares = {"all": over_all("angle")}
    squares |= {name: _binned(one.time, one.parts["angle"], edges) for name, one in joints.items()}
    some = next(iter(joints.values())).parts
    parts = {part: _plain(over_all(part)) for part in PARTS if part in some}
    curves = {name: _plain(square) for name, square in squares.items()}
    return {"time_s": [rounded(t) for t in 0.5 * (edges[1:] + edges[:-1])], **curves}, parts


def _mean_known(squares: np.ndarray) -> np.ndarray:
    """(bins,) mean over the rows that are known there."""
    known = np.isfinite(squares)
    count = known.sum(0)
    total = np.where(known, squares, 0.0).sum(0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _plain(squares: np.ndarray) -> list[float | None]:
    """Roots in degrees as numbers, None where unknown."""
    return [rounded(v) if np.isfinite(v) else None for v in np.degrees(np.sqrt(squares))]


def _binned(time: np.ndarray, angle: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """(bins,) mean square angle in each bin, rad²; NaN where there is none."""
    at = np.clip(np.searchsorted(edges, time, side="right") - 1, 0, len(edges) - 2)
    count = np.bincount(at, minlength=len(edges) - 1)
    total = np.bincount(at, angle**2, minlength=len(edges) - 1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
