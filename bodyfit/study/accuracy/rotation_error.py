"""How far one body part's rotation against another is from a true one, each on its own clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation, Slerp

from ...core.rotations import left_jacobian_inverse, nearest_rotation

LARGEST_GAP_S = 0.1  # s between reference samples that may be interpolated; chosen; not tried
LAGS_S = np.arange(-12, 13) * 0.0025  # clock offsets that are tried; chosen; not tried
ROUNDS = 30  # of Gauss–Newton, at most; chosen; not tried


@dataclass(frozen=True, eq=False)
class Pair:
    """Rotation of a child against its parent: found at `time`, true at `true_time`, each on its own clock.

    Attributes
    ----------
    time : (T,) s, of `found`, a rotation of length T
    true_time : (N,) s, of `true`, a rotation of length N
    """

    time: np.ndarray
    found: Rotation
    true_time: np.ndarray
    true: Rotation

    def covered(self, lag: float = 0.0) -> np.ndarray:
        """(T,) whether the reference covers each found time, its clock late by `lag` (s)."""
        at = self.time + lag
        after = np.clip(np.searchsorted(self.true_time, at), 1, len(self.true_time) - 1)
        near = self.true_time[after] - self.true_time[after - 1] < LARGEST_GAP_S
        return near & (at > self.true_time[0]) & (at < self.true_time[-1])

    def matched(self, lag: float = 0.0) -> tuple[Rotation, Rotation]:
        """Found and true rotations at the found times that the reference covers, its clock late by `lag`."""
        ok = self.covered(lag)
        found = Rotation.from_quat(self.found.as_quat()[ok])
        return found, Slerp(self.true_time, self.true)((self.time + lag)[ok])


def rms(values: np.ndarray) -> float:
    """Root mean square.

    Parameters
    ----------
    values : (..., ) array

    Returns
    -------
    number, in the unit of the values
    """
    return float(np.sqrt(np.mean(np.square(values))))


def rotation_rms(found: Rotation, true: Rotation) -> float:
    """Root mean square angle between rotations, degrees."""
    return float(np.degrees(rms((true.inv() * found).magnitude())))


def best_lag(pairs: Sequence[Pair]) -> float:
    """Offset between the two clocks at which the pairs agree best, s: found time + lag = true time."""
    return min(LAGS_S, key=lambda lag: np.mean([rotation_rms(*pair.matched(lag)) for pair in pairs]))


def ends_removed(found: Rotation, true: Rotation) -> Rotation:
    """The true rotations with a constant one at either end that brings them closest to the found ones.

    A unit that sits turned by a constant amount on its segment turns the whole motion by one constant
    rotation at that end. Started from no rotation and from the axes in which the two look most alike; the
    better counts.
    """
    axes, none = renaming(found, true), Rotation.identity()
    starts = ((none, none), (axes, axes.inv()))
    return min((_nearest_ends(found, true, *s) for s in starts), key=lambda near: rotation_rms(found, near))


def _nearest_ends(found: Rotation, true: Rotation, left: Rotation, right: Rotation) -> Rotation:
    """Least squares of the angle off = Log((A X B)⁻¹ E), by Gauss–Newton with shorter steps where it rises.

    A turned by a and B by b change it by −J_l⁻¹(off) ((X B)⁻¹ a + b).
    """
    off = ((left * true * right).inv() * found).as_rotvec()
    for _ in range(ROUNDS):
        by_left = (true * right).inv().as_matrix()
        J = left_jacobian_inverse(off) @ np.concatenate(
            [by_left, np.broadcast_to(np.eye(3), by_left.shape)], -1
        )
        step = np.linalg.lstsq(np.einsum("kij,kil->jl", J, J), np.einsum("kij,ki->j", J, off))[0]
        for share in (1.0, 0.5, 0.2, 0.05):
            A, B = (Rotation.from_rotvec(share * turn) for turn in np.split(step, 2))
            shorter = ((left * A * true * right * B).inv() * found).as_rotvec()
            if rms(shorter) < (1 - 1e-6) * rms(off):
                left, right, off = left * A, right * B, shorter
                break
        else:
            break
    return left * true * right


def picked(rotations: Rotation, rows: np.ndarray) -> Rotation:
    """Those of a series that a mask or indices name.

    Parameters
    ----------
    rotations : of length N
    rows : (N,) mask, or indices

    Returns
    -------
    rotations : of as many as are named
    """
    return Rotation.from_quat(rotations.as_quat()[rows])


def renaming(found: Rotation, true: Rotation) -> Rotation:
    """The axes from which the true rotation vectors look most like the found ones."""
    return Rotation.from_matrix(nearest_rotation(found.as_rotvec().T @ true.as_rotvec()))


def main_axis(error: np.ndarray) -> tuple[float, float, float]:
    """The one axis about which errors are largest, and how large they are about it and across it.

    Parameters
    ----------
    error : (T, 3) rotation vectors, rad, world

    Returns
    -------
    elevation : rad, of the axis above level, 0 to π/2; π/2: the errors are of heading
    about : rad, root mean square about the axis
    across : rad, root mean square of the part at right angles to it

    Notes
    -----
    Largest eigenvector of Σ φ φᵀ.
    """
    squares, axes = np.linalg.eigh(error.T @ error / len(error))
    elevation = np.arcsin(min(abs(axes[1, 2]), 1.0))
    return float(elevation), float(np.sqrt(squares[2])), float(np.sqrt(max(squares[0] + squares[1], 0.0)))


def split_about(error: np.ndarray, axis: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How far each rotation turns about an axis, and how far it tilts that axis.

    Parameters
    ----------
    error : (T, 3) rotation vectors, rad
    axis : (3,) of length one, same frame

    Returns
    -------
    about : (T,) rad, −π to π
    across : (T,) rad, 0 to π

    Notes
    -----
    q = swing · twist: twist = 2 atan2(q·n, w), swing = 2 acos √(w² + (q·n)²). About +Y they are the errors of
    heading and of inclination.
    """
    q = Rotation.from_rotvec(error).as_quat()
    along = q[:, :3] @ axis
    about = 2 * np.arctan2(along, q[:, 3])
    about = np.arctan2(np.sin(about), np.cos(about))
    return about, 2 * np.arccos(np.clip(np.hypot(along, q[:, 3]), 0.0, 1.0))
