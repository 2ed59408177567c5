"""How far a found motion is from a true one: rotations between neighbours, and angles."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation, Slerp

from bodyfit.rotations import left_jacobian_inverse

LARGEST_GAP_S = 0.1  # s between reference samples that may be interpolated
LAGS_S = np.arange(-8, 13) * 0.0025  # clock offsets that are tried
ROUNDS = 30  # of Gauss–Newton, at most


@dataclass(frozen=True, eq=False)
class Pair:
    """Rotation of a child against its parent: found at `time`, true at `true_time`, each on its own clock."""

    time: np.ndarray
    found: Rotation
    true_time: np.ndarray
    true: Rotation

    def matched(self, lag: float = 0.0) -> tuple[Rotation, Rotation]:
        """Found and true rotations at the found times that the reference covers, its clock late by lag."""
        at, ok = self.time + lag, self.covered(lag)
        return self.found[ok], Slerp(self.true_time, self.true)(at[ok])

    def covered(self, lag: float = 0.0) -> np.ndarray:
        """Which of the found times the reference covers."""
        at = self.time + lag
        after = np.clip(np.searchsorted(self.true_time, at), 1, len(self.true_time) - 1)
        near = self.true_time[after] - self.true_time[after - 1] < LARGEST_GAP_S
        return near & (at > self.true_time[0]) & (at < self.true_time[-1])


def rms(values: np.ndarray) -> float:
    """Root mean square."""
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
    rotation at that end. Started from no rotation and from the axes of `frames_renamed`; the better counts.
    """
    axes, none = _renaming(found, true), Rotation.identity()
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


def frames_renamed(found: Rotation, true: Rotation) -> Rotation:
    """The true rotations seen from other axes, the same at both ends, that bring them closest."""
    axes = _renaming(found, true)
    return axes * true * axes.inv()


def _renaming(found: Rotation, true: Rotation) -> Rotation:
    """The axes from which the true rotation vectors look most like the found ones."""
    return Rotation.from_matrix(_nearest(found.as_rotvec().T @ true.as_rotvec()))


def _nearest(matrix: np.ndarray) -> np.ndarray:
    """The rotation nearest to a matrix."""
    U, _, Vt = np.linalg.svd(matrix)
    return U @ np.diag([1.0, 1.0, np.linalg.det(U @ Vt)]) @ Vt


def over_pairs(
    pairs: Sequence[Pair], lag: float = 0.0, change: Callable[[Rotation, Rotation], Rotation] | None = None
) -> list[float]:
    """Root mean square angle of each pair, degrees.

    `change` takes something that is not to be counted out of the true rotations: `ends_removed` or
    `frames_renamed`.
    """
    out = []
    for pair in pairs:
        found, true = pair.matched(lag)
        out.append(rotation_rms(found, change(found, true) if change else true))
    return out


def heading_and_inclination(found: Rotation, true: Rotation) -> tuple[float, float, float]:
    """Total, heading and inclination error of one segment, degrees, its constant heading offset removed.

    The error in the world frame is a turn about the vertical after a tilt about a horizontal axis.
    """
    error = found * true.inv()
    q = error.as_quat()
    heading = 2 * np.arctan2(q[:, 1], q[:, 3])
    offset = np.angle(np.mean(np.exp(1j * heading)))
    left = np.angle(np.exp(1j * (heading - offset)))
    tilt = 2 * np.arccos(np.clip(np.hypot(q[:, 1], q[:, 3]), 0.0, 1.0))
    total = (Rotation.from_rotvec([0.0, -offset, 0.0]) * error).magnitude()
    return tuple(float(np.degrees(rms(v))) for v in (total, left, tilt))  # type: ignore[return-value]
