"""Activities from a fitted body, by rules that need no training: inclinations, steps, rises."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from ...body.anatomy import FEET, THIGHS
from ...core.intervals import runs
from ...core.rotations import UP, heading_of
from ...errors import InputError
from ...fitting.result import Fit
from .body_changes import with_changes
from .chain.names import CHANGES
from .chain.timeline import ActivityStretch
from .result import Activities

LYING, SITTING, BENT = (
    np.radians(55),
    np.radians(50),
    np.radians(35),
)  # trunk, thighs, trunk forward; by reasoning
HYSTERESIS = np.radians(8)  # by reasoning: over what a fit shakes
LEAST_SITTING_S = 2.0  # s; shorter is a crouch (by reasoning)
STEP_M, RISE_M = 0.12, 0.08  # m: feet apart along the heading at a step; half a stair's rise (by reasoning)
STEPS_OF_RUN = 2.4  # steps a second: running; walkers reach 2.3, tried: on activity_waist_phone
LONGEST_BETWEEN_S = 1.5  # s between steps of one walk; by reasoning
TRUNK = ("thorax", "pelvis")
FREQUENCY = 25.0  # Hz: rules look at it this often; by reasoning
STEPPING_M_S = 0.3  # m/s of one foot against the other: somebody steps, on the spot too (by reasoning)
STEP_PAUSE_S = 0.7  # s between two such moments of one walk: both feet on the ground (by reasoning)
POSTURES = ("standing", "sitting", "lying", "walking", "running", "stairs_up", "stairs_down", "unknown")
NAMES = (*POSTURES, *CHANGES)


def of_body(fit: Fit) -> Activities:
    """Activities of a fitted body.

    Parameters
    ----------
    fit : with a trunk segment or thighs; steps want both feet too

    Returns
    -------
    Activities; probabilities are one or zero, those of stretches NaN, shares are left out: rules do not know
    how sure they are

    Raises
    ------
    InputError
        The body has neither trunk nor thighs.
    """
    trunk = next((name for name in TRUNK if name in fit.rotations), None)
    thighs = [name for name in THIGHS if name in fit.rotations]
    if trunk is None or not thighs:
        raise InputError(
            f"fit: its body has {', '.join(fit.rotations)}; activities by rules want thorax or pelvis and a "
            "thigh; give the capture instead, if a unit is worn at the pelvis or a thigh"
        )
    at = np.unique(np.searchsorted(fit.time, np.arange(fit.time[0], fit.time[-1], 1 / FREQUENCY)))
    time = fit.time[at]
    tilt, forward = _leaning(fit, trunk, at)
    tilts, lean = np.mean([_leaning(fit, name, at) for name in thighs], axis=0)
    code = _postures(time, tilt, forward, tilts, lean)
    steps = _steps(fit, at, time)
    code = np.where(np.isin(code, [0]) & (steps >= 0), steps, code)
    code = with_changes(time, NAMES, code, {"sit": lean, "lie": tilt})
    probabilities = np.eye(len(NAMES))[code]
    used = [trunk, *thighs, *(["feet"] if _has_feet(fit) else [])]
    return Activities(_stretches(time, code), time, NAMES, probabilities, {}, f"body: {', '.join(used)}")


def _stretches(time: np.ndarray, code: np.ndarray) -> tuple[ActivityStretch, ...]:
    edges = np.r_[0, np.flatnonzero(code[1:] != code[:-1]) + 1, len(code)]
    ends = np.append(time, time[-1])
    return tuple(
        ActivityStretch(float(time[a]), float(ends[b]), NAMES[code[a]], np.nan) for a, b in pairwise(edges)
    )


def _leaning(fit: Fit, segment: str, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(T,) inclination of a segment's long axis and (T,) angle by which it leans forward, rad."""
    R = fit.rotations[segment].as_matrix()[at]
    up = np.einsum("tij,i->tj", R, UP)  # of the world, in the segment: X forward, Y along, Z right
    return np.arccos(np.clip(up[:, 1], -1, 1)), np.arctan2(-up[:, 0], up[:, 1])


def _beyond(angle: np.ndarray, limit: float) -> np.ndarray:
    """(T,) whether an angle is beyond a limit, with hysteresis: it stays so until HYSTERESIS below."""
    told = np.where(angle > limit, 1, np.where(angle < limit - HYSTERESIS, 0, -1))
    told[0] = max(told[0], 0)
    last = np.maximum.accumulate(np.where(told >= 0, np.arange(len(told)), 0))
    return told[last] == 1


def _postures(
    time: np.ndarray, tilt: np.ndarray, forward: np.ndarray, tilts: np.ndarray, lean: np.ndarray
) -> np.ndarray:
    """(T,) index in NAMES: standing, sitting, lying, or unknown for a crouch and for bending.

    Parameters
    ----------
    time : (T,) s
    tilt, forward : (T,) rad, of the trunk, in all and forward
    tilts, lean : (T,) rad, likewise of the thighs, their mean
    """
    flexed = _beyond(-lean, SITTING)  # a thigh raised forward leans back
    bent = _beyond(forward, BENT)
    lying = _beyond(np.minimum(tilt, tilts), LYING) & ~(bent & flexed)
    code = np.zeros(len(time), int)
    code[bent] = NAMES.index("unknown")
    for a, b in runs(flexed):
        code[a:b] = NAMES.index("sitting" if time[b - 1] - time[a] >= LEAST_SITTING_S else "unknown")
    code[lying] = NAMES.index("lying")
    return code


def _has_feet(fit: Fit) -> bool:
    return set(FEET) <= set(fit.rotations) and fit.poses.positions is not None


def _steps(fit: Fit, at: np.ndarray, time: np.ndarray) -> np.ndarray:
    """(T,) index in NAMES where there are steps, -1 elsewhere.

    Notes
    -----
    A step is where the feet are furthest apart along the pelvis' heading; the rise of the foot ahead over the
    other at that instant tells stairs: the body's own path in height need not be known.
    """
    out = np.full(len(time), -1)
    if not _has_feet(fit) or "pelvis" not in fit.rotations:
        return out
    places = fit.poses.positions
    assert places is not None
    left, right = FEET
    apart = (places[left] - places[right])[at]
    heading = heading_of(fit.rotations["pelvis"].as_matrix()[at])
    along = apart[:, 0] * np.cos(heading) - apart[:, 2] * np.sin(heading)
    out[_stepping(time, apart)] = NAMES.index("walking")
    peaks = _furthest(along)
    if len(peaks) < 2:
        return out
    rise = apart[peaks, 1] * np.sign(along[peaks])
    between = np.diff(time[peaks])
    mean = 0.5 * (rise[1:] + rise[:-1])
    code = np.where(between < 1 / STEPS_OF_RUN, NAMES.index("running"), NAMES.index("walking"))
    code = np.where(mean > RISE_M, NAMES.index("stairs_up"), code)
    code = np.where(mean < -RISE_M, NAMES.index("stairs_down"), code)
    for number in np.flatnonzero(between < LONGEST_BETWEEN_S):
        out[peaks[number] : peaks[number + 1]] = code[number]
    return out


def _stepping(time: np.ndarray, apart: np.ndarray) -> np.ndarray:
    """(T,) whether one foot moves against the other, or will again at once: on the spot too."""
    moves = np.linalg.norm(np.gradient(apart, time, axis=0), axis=1) > STEPPING_M_S
    edges = runs(~moves)
    for a, b in edges:
        if a > 0 and b < len(moves) and time[b] - time[a] < STEP_PAUSE_S:
            moves[a:b] = True
    return moves


def _furthest(along: np.ndarray) -> np.ndarray:
    """Where one foot is furthest before the other, once each time that they pass: by STEP_M at least."""
    ahead = np.sign(along)
    edges = np.r_[0, np.flatnonzero(ahead[1:] != ahead[:-1]) + 1, len(along)]
    tops = np.array([a + int(np.argmax(np.abs(along[a:b]))) for a, b in pairwise(edges)])
    return tops[np.abs(along[tops]) > STEP_M]
