"""Cycles of strides by side, and how left and right differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...body.motion.joint_angles import wrap
from ...errors import InputError
from ...fitting.result import Fit
from ..strides.result import Stride
from .curves import Angles, Cycles, cycles_of, evenly_within, measured_angles

SIDES = {"left": "l_", "right": "r_"}


@dataclass(frozen=True, eq=False)
class Symmetry:
    """One angle of a joint, left against right.

    Attributes
    ----------
    joint, angle : names, the joint without its side
    difference : (101,) rad, mean of the left less mean of the right at each percent of their own strides
    difference_sd : (101,) rad, its standard deviation: spread between strides, and of the fit where known
    left_range, right_range : rad, mean over strides of largest less smallest
    index : %, 100 (L − R) / ((L + R) / 2) of the two ranges; 0 is alike, positive: the left moves more
    index_sd : %, its standard deviation: spread between strides, and of the fit where known
    """

    joint: str
    angle: str
    difference: np.ndarray
    difference_sd: np.ndarray
    left_range: float
    right_range: float
    index: float
    index_sd: float


def stride_cycles(fit: Fit, strides: Mapping[str, tuple[np.ndarray, np.ndarray]]) -> dict[str, Cycles]:
    """Joint angles over the stride, by side: the side's own joints and those in the middle.

    Parameters
    ----------
    fit : from `bodyfit.fit`
    strides : "left", "right" -> (n,) s starts and (n,) s ends, heel strike to the next of the same foot

    Returns
    -------
    side -> Cycles, each over its own strides; a side without strides is left out

    Raises
    ------
    InputError
        A side of another name, starts without ends, an end before its start, or a stride outside the fit.
    """
    out = {}
    for side, (starts, ends) in strides.items():
        starts, ends = _checked(fit, side, np.asarray(starts, float), np.asarray(ends, float))
        if len(starts):
            others = tuple(prefix for name, prefix in SIDES.items() if name != side)
            angles = {j: value for j, value in measured_angles(fit).items() if not j.startswith(others)}
            out[side] = cycles_of(side, fit.time, angles, evenly_within(starts, ends))
    return out


def cycles_of_strides(fit: Fit, strides: Sequence[Stride]) -> dict[str, Cycles]:
    """Joint angles over the stride, by side, of strides as `bodyfit.strides` finds them.

    Parameters
    ----------
    fit : in which they were found
    strides : those whose side is not known are left out
    """
    spans = {side: [(s.start, s.end) for s in strides if s.side == side] for side in SIDES}
    ends = {side: np.array(its, float).reshape(-1, 2) for side, its in spans.items()}
    inside = {
        side: its[(its[:, 0] >= fit.time[0]) & (its[:, 1] <= fit.time[-1])] for side, its in ends.items()
    }
    return stride_cycles(fit, {side: (its[:, 0], its[:, 1]) for side, its in inside.items()})


def symmetries(cycles: Mapping[str, Cycles], angle_sd: Angles | None = None) -> tuple[Symmetry, ...]:
    """Left against right, for every angle that both sides have.

    Parameters
    ----------
    cycles : "left" and "right" -> curves, as of `stride_cycles`
    angle_sd : joint -> angle -> (T,) rad, standard deviation of the fit, or None: left out

    Returns
    -------
    tuple of Symmetry, in the order of the body

    Raises
    ------
    InputError
        One side is missing.

    Notes
    -----
    The difference d of two means has :math:`s_d^2 = s_l^2 / n_l + s_r^2 / n_r` (Welch 1947,
    doi:10.1093/biomet/34.1-2.28, from memory) from the spread between strides, taken as independent. An error
    of how a unit sits does not average out over strides: where the fit tells its standard deviations, the
    mean square of each side's is added; to the ranges too, into which an error of mounting carries a share of
    the larger angles: of a small range the index then says little.

    Symmetry index: Robinson, Herzog & Nigg 1987, J. Manipulative Physiol. Ther. 10:172 (from memory),
    :math:`SI = 100 (L - R) / ((L + R) / 2)`; its standard deviation by linear propagation.
    """
    missing = [side for side in SIDES if side not in cycles]
    if missing:
        raise InputError(
            f"left against right: found no {missing[0]} strides; expected both sides. Give a recording in "
            "which both feet make whole strides"
        )
    left, right = cycles["left"], cycles["right"]
    pairs = [
        (joint.removeprefix("l_"), angle)
        for joint, its in left.mean.items()
        for angle in its
        if joint.startswith("l_") and angle in right.mean.get("r_" + joint.removeprefix("l_"), {})
    ]
    return tuple(_symmetry(left, right, joint, angle, angle_sd or {}) for joint, angle in pairs)


def _symmetry(left: Cycles, right: Cycles, joint: str, angle: str, angle_sd: Angles) -> Symmetry:
    means, squares, extents, extent_squares = [], [], [], []
    for one, prefix in ((left, "l_"), (right, "r_")):
        name = prefix + joint
        own = angle_sd.get(name, {}).get(angle)
        of_fit = float(np.mean(np.square(own))) if own is not None and np.isfinite(own).all() else 0.0
        means.append(one.mean[name][angle])
        squares.append(one.sd[name][angle] ** 2 / one.count + of_fit)
        extent = one.ranges[name][angle]
        extents.append(float(extent.mean()))
        between = float(extent.var(ddof=1)) / one.count if one.count > 1 else np.nan
        extent_squares.append(between + of_fit)
    L, R = extents
    total = max(L + R, 1e-12)
    index_sd = 400.0 / total**2 * np.sqrt(R**2 * extent_squares[0] + L**2 * extent_squares[1])
    difference, its_sd = wrap(means[0] - means[1]), np.sqrt(squares[0] + squares[1])
    return Symmetry(joint, angle, difference, its_sd, L, R, 200.0 * (L - R) / total, float(index_sd))


def _checked(fit: Fit, side: str, starts: np.ndarray, ends: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Starts and ends, refused where they can't be strides of this fit."""
    if side not in SIDES:
        raise InputError(f"strides: found side {side!r}; expected left or right")
    if starts.shape != ends.shape or starts.ndim != 1:
        raise InputError(
            f"strides of the {side}: found {starts.shape} starts and {ends.shape} ends; expected as many of "
            "either, in one row"
        )
    first, last = float(fit.time[0]), float(fit.time[-1])
    bad = ~((starts < ends) & (starts >= first - 1e-6) & (ends <= last + 1e-6))
    if bad.any():
        i = int(np.argmax(bad))
        raise InputError(
            f"strides of the {side}: stride {i + 1} from {starts[i]:.2f} to {ends[i]:.2f} s; expected an end "
            f"after its start, and both within the fit, {first:.2f} to {last:.2f} s"
        )
    return starts, ends
