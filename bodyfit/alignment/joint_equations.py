"""Equations of a joint centre: the accelerations that two units say it has are one.

At each keyframe F_p + L_p r_p = Ry(ψ) (F_c + L_c r_c): specific forces F m/s² and lever matrices L 1/s² of
parent and child in the world, arms r in m, and the heading ψ of the child against the parent. For a given ψ
it is linear in the arms, and Ry(ψ) is linear in (1, cos ψ, sin ψ): sums over time serve every heading
(variable projection, Golub and Pereyra 1973, doi:10.1137/0710036).
"""

from __future__ import annotations

import numpy as np

from ..recording.keyframe_averages import Averages

TURN_BASIS = (
    np.diag([0.0, 1.0, 0.0]),
    np.diag([1.0, 0.0, 1.0]),
    np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 0.0], [-1.0, 0.0, 0.0]]),
)  # Ry(ψ) = TURN_BASIS[0] + cos ψ TURN_BASIS[1] + sin ψ TURN_BASIS[2]


def by_heading(heading: np.ndarray) -> np.ndarray:
    """Shares of `TURN_BASIS` in a turn about the vertical.

    Parameters
    ----------
    heading : (...) rad

    Returns
    -------
    (..., 3)
    """
    return np.stack([np.ones_like(heading), np.cos(heading), np.sin(heading)], -1)


def centre_rows(average: Averages, parent: int, child: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Linear equations of both arms once rotations are known: A (r_p, r_c) = z.

    Parameters
    ----------
    average : at the rotations, of K + 1 keyframes
    parent, child : units at either end

    Returns
    -------
    A : (K + 1, 3, 6) 1/s²
    z : (K + 1, 3) m/s²
    known : (K + 1,) bool, both units were measured
    """
    A = np.concatenate([average.lever[:, parent], -average.lever[:, child]], -1)
    z = average.force[:, child] - average.force[:, parent]
    return A, z, average.known[:, parent] & average.known[:, child]


def projected(
    pp: np.ndarray, pc: np.ndarray, cc: np.ndarray, mean: np.ndarray, precision: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Normal equations of a joint's two arms, of any headings or shifts, from sums of (lever matrix | force).

    Parameters
    ----------
    pp, cc : (4, 4) or (..., 4, 4), parent with itself, child with itself
    pc : (..., 4, 4), parent with child
    mean, precision : (6,) m and (6, 6) 1/m², prior of the arms

    Returns
    -------
    H, b, c : (..., 6, 6), (..., 6), (...); the arms r = H⁻¹ b leave the sum of squares c − b · r
    """
    many = pc.shape[:-2]
    H, b = np.tile(precision, (*many, 1, 1)), np.tile(precision @ mean, (*many, 1))
    H[..., :3, :3] += pp[..., :3, :3]
    H[..., 3:, 3:] += cc[..., :3, :3]
    H[..., :3, 3:] -= pc[..., :3, :3]
    H[..., 3:, :3] -= np.swapaxes(pc[..., :3, :3], -1, -2)
    b[..., :3] -= pp[..., :3, 3] - pc[..., :3, 3]
    b[..., 3:] -= cc[..., :3, 3] - pc[..., 3, :3]
    c = pp[..., 3, 3] + cc[..., 3, 3] - 2 * pc[..., 3, 3] + mean @ precision @ mean
    return H, b, c


def arms_solved(H: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Unknowns of many small normal equations, and how much they lower the sum of squares.

    Parameters
    ----------
    H, b : (..., n, n), (..., n)

    Returns
    -------
    (..., n) H⁻¹ b, and (...) bᵀ H⁻¹ b
    """
    x = np.linalg.solve(H, b[..., None])[..., 0]
    return x, np.sum(b * x, -1)
