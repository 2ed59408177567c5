"""How far every joint of a solution lies from that of another motion, in figures and over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .errors import CannotReconstructError
from .fitting import Fit
from .joint_angles import joint_angles, wrap
from .turn_errors import Pair, best_lag, ends_removed, main_axis, rms, rotation_rms

if TYPE_CHECKING:
    from .comparing import Reference

BINS = 600  # stretches of time that a curve has, at most
ROWS = 2000  # rows from which constant rotations at the ends are estimated, at most
BAND = 1.959964  # standard deviations on either side of a 95 % band


@dataclass(frozen=True)
class Score:
    """Angles between found and true rotations of a child segment against its parent, degrees.

    Attributes
    ----------
    rmse_deg, median_deg, p95_deg : root mean square, median, 95th percentile
    ends_removed_deg : root mean square left when a constant rotation at either end is counted out
    axis_elevation_deg : of the one axis about which errors are largest, above level; 90: heading
    about_axis_deg, across_axis_deg : root mean square about that axis, and at right angles to it
    band_share : share of angles and times in the 95 % band, the reference's where it has one (the full
        solution), else the solution's own; None: no band is known
    """

    rmse_deg: float
    median_deg: float
    p95_deg: float
    ends_removed_deg: float
    axis_elevation_deg: float
    about_axis_deg: float
    across_axis_deg: float
    band_share: float | None = None


MEANS = ("rmse_deg", "median_deg", "p95_deg", "ends_removed_deg")


@dataclass(frozen=True, eq=False)
class _Scored:
    """One pair of segments compared: angle (T,) rad at the times (T,), error (T, 3) rad in the world."""

    time: np.ndarray
    angle: np.ndarray
    error: np.ndarray
    score: Score


def score_joints(
    solution: Fit, reference: Reference, missing: Sequence[str] = (), align_clock: bool = False
) -> dict[str, Any]:
    """Figures and curves of every joint that the reference shows.

    Parameters
    ----------
    solution : to be judged
    reference : what to judge by
    missing : segments whose neighbours are to be compared with each other too
    align_clock : take a constant offset off the reference's clock

    Returns
    -------
    joints, overall, across, curve, clock_offset_s of a `CaseResult`

    Raises
    ------
    CannotReconstructError
        The reference covers no time of the solution.
    """
    joints = solution.poses.model.joints
    ends = {name: (joint.parent, joint.child) for name, joint in joints.items()}
    ends = {name: pair for name, pair in ends.items() if set(pair) <= set(reference.rotations)}
    pairs = {name: _pair(solution, reference, *pair) for name, pair in ends.items()}
    lag = best_lag(list(pairs.values())) if align_clock and _overlap(pairs) else 0.0
    if not all(pair.covered(lag).any() for pair in pairs.values()):
        raise CannotReconstructError("the reference covers no time of this solution")
    bands = _band_shares(solution, reference, pairs, lag)
    scored = {n: _scored(solution, reference, *ends[n], lag, bands.get(n)) for n in ends}
    across = {f"{p} to {c}": _scored(solution, reference, p, c, lag) for p, c in _neighbours(ends, missing)}
    return {
        "joints": {name: one.score for name, one in scored.items()},
        "overall": _overall(list(scored.values())),
        "across": {name: one.score for name, one in across.items()},
        "curve": _curve(scored),
        "clock_offset_s": float(lag),
    }


def _overlap(pairs: Mapping[str, Pair]) -> bool:
    """Whether some time is covered at every lag that may be tried."""
    return all(pair.covered(lag).any() for pair in pairs.values() for lag in (-0.03, 0.0, 0.03))


def _pair(solution: Fit, reference: Reference, parent: str, child: str) -> Pair:
    true = reference.rotations[parent].inv() * reference.rotations[child]
    found = solution.rotations[parent].inv() * solution.rotations[child]
    return Pair(solution.time, found, reference.time, true)


def _neighbours(ends: Mapping[str, tuple[str, str]], missing: Sequence[str]) -> list[tuple[str, str]]:
    """Each segment below a missing one with the one above it."""
    above = {child: parent for parent, child in ends.values()}
    return [(above[m], child) for child, m in above.items() if m in missing and m in above]


def _scored(
    solution: Fit, reference: Reference, parent: str, child: str, lag: float, band: float | None = None
) -> _Scored:
    """One pair compared.

    Found rotation = E × true one, E in the parent's frame; the reference's parent carries its rotation
    vector into the world.
    """
    pair = _pair(solution, reference, parent, child)
    found, true = pair.matched(lag)
    parent_true = Pair(pair.time, pair.found, pair.true_time, reference.rotations[parent]).matched(lag)[1]
    error = parent_true.apply((found * true.inv()).as_rotvec())
    angle = np.linalg.norm(error, axis=1)
    some = slice(None, None, max(1, -(-len(angle) // ROWS)))
    left = rotation_rms(found[some], ends_removed(found[some], true[some]))
    means = [*np.degrees([rms(angle), np.median(angle), np.percentile(angle, 95)]), left]
    score = _score(means, main_axis(error), band)
    return _Scored(pair.time[pair.covered(lag)], angle, error, score)


def _overall(scored: Sequence[_Scored]) -> Score:
    """Means over the joints; the axis over all of them."""
    all_of = [asdict(one.score) for one in scored]
    means = [float(np.mean([score[name] for score in all_of])) for name in MEANS]
    axis = main_axis(np.concatenate([one.error for one in scored]))
    shares = [score["band_share"] for score in all_of if score["band_share"] is not None]
    return _score(means, axis, float(np.mean(shares)) if shares else None)


def _score(means: Sequence[float], axis: Sequence[float], band: float | None) -> Score:
    """The figures named: means in degrees in the order of MEANS, axis in radians as from `main_axis`."""
    elevation, about, across = (_rounded(np.degrees(part)) for part in axis)
    named = dict(zip(MEANS, map(_rounded, means), strict=True))
    return Score(
        **named,
        axis_elevation_deg=elevation,
        about_axis_deg=about,
        across_axis_deg=across,
        band_share=None if band is None else _rounded(band),
    )


def _band_shares(
    solution: Fit, reference: Reference, pairs: Mapping[str, Pair], lag: float
) -> dict[str, float]:
    """Joint -> share of its angles and times at which |found − true| is within the 95 % band."""
    out = {}
    for name, pair in pairs.items():
        known = (solution.joint_angle_sd if reference.angle_sd is None else reference.angle_sd) or {}
        if name not in known:
            continue
        found, true = pair.matched(lag)
        joint, at = solution.poses.model.joints[name], pair.covered(lag)
        angles = [joint_angles(joint, turn.as_matrix()) for turn in (found, true)]
        inside = []
        for angle, sd in known[name].items():
            if reference.angle_sd is not None:
                sd_at = np.interp(pair.time[at] + lag, reference.time, sd)
            else:
                sd_at = sd[at]
            inside.append(np.abs(wrap(angles[0][angle] - angles[1][angle])) <= BAND * sd_at + 1e-9)
        out[name] = _rounded(float(np.mean(inside)))
    return out


def _curve(scored: Mapping[str, _Scored]) -> dict[str, list[float | None]]:
    """Root mean square error by stretch of time, degrees, by joint and over all of them."""
    start = min(one.time[0] for one in scored.values())
    end = max(one.time[-1] for one in scored.values())
    count = min(BINS, max(len(one.time) for one in scored.values()))
    edges = np.linspace(start, end, count + 1)
    squares = {name: _binned(one, edges) for name, one in scored.items()}
    known = np.isfinite(list(squares.values())).any(0)
    total = np.full(count, np.nan)
    total[known] = np.nanmean(np.stack(list(squares.values()))[:, known], axis=0)
    middles = [_rounded(t) for t in 0.5 * (edges[1:] + edges[:-1])]
    curves = {name: np.degrees(np.sqrt(square)) for name, square in {"all": total, **squares}.items()}
    plain = {name: [_rounded(v) if np.isfinite(v) else None for v in c] for name, c in curves.items()}
    return {"time_s": list(middles), **plain}


def _binned(one: _Scored, edges: np.ndarray) -> np.ndarray:
    """(bins,) mean square angle in each bin, rad²; NaN where there is none."""
    at = np.clip(np.searchsorted(edges, one.time, side="right") - 1, 0, len(edges) - 2)
    count = np.bincount(at, minlength=len(edges) - 1)
    total = np.bincount(at, one.angle**2, minlength=len(edges) - 1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _rounded(value: float) -> float:
    return round(float(value), 4)
