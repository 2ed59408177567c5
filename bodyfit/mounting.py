"""Still pose or motion -> segment_from_unit: how each unit sits on its segment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.spatial.transform import Rotation

from .rotations import heading_matrix
from .start import UP, as_complex

STILL_RATE = 0.15  # rad/s, root mean square below which a pose is taken for held
STILL_S = 0.5  # s, shortest pose that is looked for when none is declared


@dataclass(frozen=True, eq=False)
class FlexionAxis:
    """A joint axis found from the motion, whose place in the segments is known from the body model.

    Attributes
    ----------
    units : parent, child
    directions : (2, 3) unit vectors in the unit frames
    in_segment : (3,) the same axis in the segment frames, neutral pose
    signed : whether the direction is known too, not only the line
    """

    units: tuple[int, int]
    directions: np.ndarray
    in_segment: np.ndarray
    signed: bool


@dataclass(frozen=True, eq=False)
class Mounting:
    """How each unit sits: segment_from_unit (U, 3, 3), where that comes from, and what stays unknown.

    Attributes
    ----------
    segment_from_unit : (U, 3, 3)
    sources : per unit "given", "still pose", "still pose assumed", …
    pose : (start, end) s of the still pose that was used, or None
    facing : where the heading of the neutral pose comes from: "mounting given", "joint axes" or "unknown"
    """

    segment_from_unit: np.ndarray
    sources: tuple[str, ...]
    pose: tuple[float, float] | None
    facing: str


def still_pose(time: np.ndarray, rate: np.ndarray) -> tuple[float, float]:
    """First stretch in which no unit turns, for captures that declare none.

    Parameters
    ----------
    time : (n,) s
    rate : (n, U) rad/s, norms

    Returns
    -------
    start, end : s, half a second long; the calmest one where nothing is still
    """
    step = (time[-1] - time[0]) / (len(time) - 1)
    window = max(2, min(round(STILL_S / step), len(time)))
    moving = np.sqrt(uniform_filter1d((rate**2).max(1), window, mode="nearest"))
    inside = slice(window // 2, max(window // 2 + 1, len(time) - window // 2))
    calm = np.flatnonzero(moving[inside] < STILL_RATE)
    middle = inside.start + (calm[0] if len(calm) else int(np.argmin(moving[inside])))
    return float(time[middle] - STILL_S / 2), float(time[middle] + STILL_S / 2)


def mean_rotation(R: np.ndarray) -> np.ndarray:
    """Rotations nearest to several, over the first axis.

    Parameters
    ----------
    R : (k, U, 3, 3)

    Returns
    -------
    (U, 3, 3)
    """
    U, _, Vt = np.linalg.svd(R.mean(0))
    flip = np.sign(np.linalg.det(U @ Vt))
    U[..., :, 2] *= flip[:, None]
    return U @ Vt


def heading_of(R: np.ndarray) -> np.ndarray:
    """Heading of segments: where their forward axis points, or their right side where that is upright.

    Parameters
    ----------
    R : (..., 3, 3) world_from_segment

    Returns
    -------
    (...) rad about +Y, zero towards +X
    """
    forward, right = as_complex(R[..., :, 0]), as_complex(R[..., :, 2]) * 1j
    return np.angle(np.where(np.abs(forward) > 0.3, forward, right))


def calibrate_mounting(
    R: np.ndarray,
    time: np.ndarray,
    given: Sequence[np.ndarray | None],
    pose: tuple[float, float],
    declared: bool,
    axes: Sequence[FlexionAxis],
) -> Mounting:
    """Mounting of every unit from the neutral pose, in which all segment frames are parallel.

    Parameters
    ----------
    R : (K + 1, U, 3, 3) world_from_unit at keyframes
    time : (K + 1,) s
    given : per unit, quaternion xyzw segment_from_unit, or None
    pose : start, end in s of the neutral pose
    declared : whether the capture says so, or it is assumed
    axes : joint axes that show which way the body faces; with an assumed pose also how units sit

    Returns
    -------
    Mounting

    Notes
    -----
    In the pose every segment is Ry(ψ), so M = Ry(−ψ) R. The heading ψ comes from units whose mounting is
    given, else from joint axes; with neither, ψ = 0 and only inclinations mean something.
    """
    inside = (time >= pose[0]) & (time <= pose[1])
    if not inside.any():
        inside[np.argmin(np.abs(time - 0.5 * (pose[0] + pose[1])))] = True
    rest = mean_rotation(R[inside])
    known = {u: Rotation.from_quat(q).as_matrix() for u, q in enumerate(given) if q is not None}
    psi, facing = _facing(rest, known, axes)
    M = heading_matrix(np.asarray(-psi)) @ rest
    source = "still pose" if declared else "still pose assumed"
    sources = [source] * len(given)
    if not declared:
        for axis in axes:
            for side, unit in enumerate(axis.units):
                M[unit] = _from_two(axis.directions[side], axis.in_segment, rest[unit].T @ UP)
                sources[unit] = "joint axis, upright pose assumed"
    for unit, matrix in known.items():
        M[unit], sources[unit] = matrix, "given"
    return Mounting(M, tuple(sources), None if len(known) == len(given) else pose, facing)


def _facing(rest: np.ndarray, known: dict[int, np.ndarray], axes: Sequence[FlexionAxis]) -> tuple[float, str]:
    """Heading of the body in the neutral pose, rad, and where it comes from."""
    if known:
        headings = [heading_of(rest[u] @ M.T) for u, M in known.items()]
        return float(np.angle(np.exp(1j * np.array(headings)).sum())), "mounting given"
    if axes:
        turned = np.array(
            [
                as_complex(rest[a.units[side]] @ a.directions[side]) * np.conj(as_complex(a.in_segment))
                for a in sorted(axes, key=lambda a: not a.signed)
                for side in (0, 1)
            ]
        )
        sure = np.repeat(sorted((a.signed for a in axes), reverse=True), 2)
        towards = turned[sure].sum() if sure.any() else turned[0]
        turned[~sure] *= np.where(np.real(turned[~sure] * np.conj(towards)) < 0, -1, 1)
        return float(np.angle(turned.sum())), "joint axes"
    return 0.0, "unknown"


def _from_two(axis_unit: np.ndarray, axis_segment: np.ndarray, up_unit: np.ndarray) -> np.ndarray:
    """segment_from_unit that carries the axis exactly, and up as nearly as that allows."""

    def frame(first: np.ndarray, second: np.ndarray) -> np.ndarray:
        third = np.cross(first, second)
        third /= np.linalg.norm(third)
        return np.stack([first, np.cross(third, first), third], -1)

    return frame(axis_segment, UP) @ frame(axis_unit, up_unit).T
