"""Joint angles from rotations and back, all twelve intrinsic sequences, finite in every pose."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.spatial.transform import Rotation

from ...core.rotations import apply, cross
from ..parts import Joint

# sine or cosine of the middle angle below which the outer two axes count as one; by reasoning: rounding of
# a rotation matrix is some 1e-16
_AT_GIMBAL = 1e-9


def angles_from_matrix(R: np.ndarray, sequence: str, middle_sign: int = 1) -> np.ndarray:
    """Angles (a, b, c) with R = R(seq[0], a) R(seq[1], b) R(seq[2], c), intrinsic.

    Parameters
    ----------
    R : (..., 3, 3) array, parent_from_child
    sequence : e.g. "ZXY" (three axes: Cardan) or "YXY" (first axis again: Euler)
    middle_sign : Euler only: the sign of b, ±1

    Returns
    -------
    (..., 3) array, rad; a and c in (−π, π], b in [−π/2, π/2] (Cardan) or between 0 and ±π (Euler)

    Notes
    -----
    All by atan2, so no angle folds. Where the outer axes coincide only their sum or difference is known:
    a Cardan sequence then takes c = 0, an Euler sequence a = 0.
    """
    i, j, k = ("XYZ".index(axis) for axis in sequence)
    if i == k:
        return _euler(R, i, j, middle_sign)
    return _cardan(R, i, j, k)


def _cardan(R: np.ndarray, i: int, j: int, k: int) -> np.ndarray:
    """Angles about three different axes."""
    e = _parity(i, j, k)
    cos_b = np.hypot(R[..., i, i], R[..., i, j])
    a = np.arctan2(-e * R[..., j, k], R[..., k, k])
    a = np.where(cos_b < _AT_GIMBAL, np.arctan2(e * R[..., k, j], R[..., j, j]), a)
    b = np.arctan2(e * R[..., i, k], cos_b)
    row = _row_after(R, a, j, k, e)
    return np.stack([a, b, np.arctan2(e * row[..., i], row[..., j])], -1)


def _euler(R: np.ndarray, i: int, j: int, sign: int) -> np.ndarray:
    """Angles about i, j, i again."""
    k = 3 - i - j
    e = _parity(i, j, k)
    sin_b = np.hypot(R[..., j, i], R[..., k, i])
    a = np.arctan2(sign * R[..., j, i], -sign * e * R[..., k, i])
    a = np.where(sin_b < _AT_GIMBAL, 0.0, a)
    b = sign * np.arctan2(sin_b, R[..., i, i])
    row = _row_after(R, a, j, k, e)
    return np.stack([a, b, np.arctan2(-e * row[..., k], row[..., j])], -1)


def _row_after(R: np.ndarray, a: np.ndarray, j: int, k: int, e: int) -> np.ndarray:
    """Row j of R once the first turn is undone; it holds the third turn, however near the gimbal."""
    return np.cos(a)[..., None] * R[..., j, :] + e * np.sin(a)[..., None] * R[..., k, :]


def _parity(i: int, j: int, k: int) -> int:
    """+1 for an even permutation of x, y, z, −1 for an odd one."""
    return 1 if (i, j, k) in ((0, 1, 2), (1, 2, 0), (2, 0, 1)) else -1


def joint_angles(joint: Joint, R_parent_child: np.ndarray) -> dict[str, np.ndarray]:
    """The joint's angles by name, in its sequence and signs.

    Parameters
    ----------
    joint : sequence, names, signs, ranges
    R_parent_child : (..., 3, 3) array

    Returns
    -------
    angle name -> (...) array, rad, within π of the middle of the angle's range (of 0 where it has none).
        An Euler sequence reports its middle angle as ISB does: 0 to −π.

    Notes
    -----
    Sources: Grood & Suntay 1983 (Cardan Z-X-Y is their floating axis system), Wu et al. 2002, 2005.
    """
    raw = angles_from_matrix(R_parent_child, joint.sequence, -joint.signs[1])
    reported = {}
    for index, (name, sign) in enumerate(zip(joint.angles, joint.signs, strict=True)):
        middle = float(np.mean(joint.range.get(name, (0.0, 0.0))))
        reported[name] = middle + wrap(sign * raw[..., index] - middle)
    return reported


def rotation_from_angles(joint: Joint, angles: Mapping[str, np.ndarray | float]) -> Rotation:
    """R_parent_child of reported joint angles: the inverse of `joint_angles`.

    Parameters
    ----------
    joint : sequence, names, signs
    angles : angle name -> (T,) array or number, rad; names left out are zero

    Returns
    -------
    Rotation, single or of length T
    """
    named = np.broadcast_arrays(*(np.asarray(angles.get(name, 0.0), float) for name in joint.angles))
    return Rotation.from_euler(joint.sequence, np.stack(named, -1) * np.asarray(joint.signs))


def wrap(angle: np.ndarray) -> np.ndarray:
    """Angles carried into (−π, π].

    Parameters
    ----------
    angle : (...) array, rad

    Returns
    -------
    (...) array, rad
    """
    return np.pi - np.mod(np.pi - angle, 2 * np.pi)


def beyond_range(joint: Joint, angles: np.ndarray) -> np.ndarray:
    """How far reported angles lie beyond the joint's ranges.

    Parameters
    ----------
    joint : with its ranges
    angles : (k, 3) rad

    Returns
    -------
    (k, 3) rad, zero inside, negative below the low limit
    """
    limits = np.array([joint.range.get(name, (-np.inf, np.inf)) for name in joint.angles])
    return np.minimum(0.0, angles - limits[:, 0]) + np.maximum(0.0, angles - limits[:, 1])


def angle_rates(angles: np.ndarray, sequence: str) -> tuple[np.ndarray, np.ndarray]:
    """How the angles of an intrinsic sequence change with a small rotation of the child.

    Parameters
    ----------
    angles : (..., 3) rad, R_parent_child = R(s₀, a₀) R(s₁, a₁) R(s₂, a₂)
    sequence : e.g. "ZXY"

    Returns
    -------
    rates : (..., 3, 3), da = rates @ φ for a rotation Exp(φ) in the parent frame
    clear : (...) in [0, 1], square of how far the sequence is from gimbal lock (zero: the rates are not
        defined and returned finite but meaningless)

    Notes
    -----
    The axes of the three turns, in the parent frame, are the columns of E: φ = E da; rows of its inverse are
    their cross products over its determinant. Source: any text on Euler angle rates, e.g. Diebel 2006,
    sec. 5.
    """
    axis = np.eye(3)
    i, j, k = ("XYZ".index(a) for a in sequence)
    first, second = _about(i, angles[..., 0]), _about(j, angles[..., 1])
    e0, e1, e2 = axis[i], first[..., j], apply(first, second[..., k])
    across = np.stack([cross(e1, e2), cross(e2, e0), cross(e0, e1)], -2)
    det = across[..., 0, :] @ e0
    far = np.abs(det) > 0.1
    rates = across / np.where(far, det, 1.0)[..., None, None]
    return np.where(far[..., None, None], rates, axis), det**2 * far


def _about(i: int, angle: np.ndarray) -> np.ndarray:
    """Rotation matrices about one axis."""
    out = np.zeros((*angle.shape, 3, 3))
    j, k = (i + 1) % 3, (i + 2) % 3
    out[..., i, i] = 1.0
    out[..., j, j] = out[..., k, k] = np.cos(angle)
    out[..., j, k], out[..., k, j] = -np.sin(angle), np.sin(angle)
    return out
