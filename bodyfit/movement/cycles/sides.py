"""Cycles of strides by side, and how left and right differ."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...body.motion.joint_angles import wrap
from ...errors import InputError
from ...fitting.result import Fit
from .curves import Angles, Cycles, cycles_of, evenly_within, measured_angles
from .left_right import LeftRight, left_right

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

    The symmetry index is that of `left_right`.
    """
    missing = [side for side in SIDES if side not in cycles]
    if missing:
        raise InputError(
            f"left against right: found no {missing[0]} strides; expected both sides. Give a recording in "
            "which both feet make whole strides"
        )
    left, right = cycles["left"], cycles["right"]
    return tuple(
        _symmetry(left, right, joint, angle, angle_sd or {}) for joint, angle in _angles_of_both(left, right)
    )


def ranges_of_sides(
    cycles: Mapping[str, Cycles], angle_sd: Angles | None = None
) -> dict[tuple[str, str], LeftRight]:
    """Ranges of motion, left against right: (joint without its side, angle) -> rad.

    Parameters
    ----------
    cycles : "left" and "right" -> curves
    angle_sd : joint -> angle -> (T,) rad, standard deviation of the fit, or None: left out
    """
    left, right = cycles["left"], cycles["right"]
    return {
        (joint, angle): _ranges(left, right, joint, angle, angle_sd or {})
        for joint, angle in _angles_of_both(left, right)
    }


def _angles_of_both(left: Cycles, right: Cycles) -> list[tuple[str, str]]:
    """(joint without its side, angle) that both sides have, in the order of the body."""
    return [
        (joint.removeprefix("l_"), angle)
        for joint, its in left.mean.items()
        for angle in its
        if joint.startswith("l_") and angle in right.mean.get("r_" + joint.removeprefix("l_"), {})
    ]


def _of_fit(joint: str, angle: str, angle_sd: Angles) -> float:
    """Mean square of the fit's standard deviations of an angle, rad²; 0 where they are not known."""
    own = angle_sd.get(joint, {}).get(angle)
    return float(np.mean(np.square(own))) if own is not None and np.isfinite(own).all() else 0.0


def _ranges(left: Cycles, right: Cycles, joint: str, angle: str, angle_sd: Angles) -> LeftRight:
    names = ("l_" + joint, "r_" + joint)
    of_fit = (_of_fit(names[0], angle, angle_sd), _of_fit(names[1], angle, angle_sd))
    extents = left.ranges[names[0]][angle], right.ranges[names[1]][angle]
    return left_right(f"{joint}_{angle}_range", "rad", *extents, of_fit)


def _symmetry(left: Cycles, right: Cycles, joint: str, angle: str, angle_sd: Angles) -> Symmetry:
    means, squares = [], []
    for one, name in ((left, "l_" + joint), (right, "r_" + joint)):
        means.append(one.mean[name][angle])
        squares.append(one.sd[name][angle] ** 2 / one.count + _of_fit(name, angle, angle_sd))
    its = _ranges(left, right, joint, angle, angle_sd)
    difference, its_sd = wrap(means[0] - means[1]), np.sqrt(squares[0] + squares[1])
    return Symmetry(joint, angle, difference, its_sd, its.left, its.right, its.index, its.index_sd)


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
