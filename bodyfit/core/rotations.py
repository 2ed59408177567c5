"""Rotation maths on arrays, leading axes are batch (time first); matrices are world_from_body unless said.

Small rotations act on the left, in the world frame: R ← Exp(θ) R.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.spatial.transform import Rotation

UP = np.array([0.0, 1.0, 0.0])


def skew(v: np.ndarray) -> np.ndarray:
    """Matrices of the cross product with v: the matrix times w is v × w.

    Parameters
    ----------
    v : (..., 3) array

    Returns
    -------
    (..., 3, 3) array
    """
    out = np.zeros((*v.shape[:-1], 3, 3))
    out[..., 0, 1], out[..., 0, 2], out[..., 1, 2] = -v[..., 2], v[..., 1], -v[..., 0]
    out[..., 1, 0], out[..., 2, 0], out[..., 2, 1] = v[..., 2], -v[..., 1], v[..., 0]
    return out


def cross(v: np.ndarray, w: np.ndarray) -> np.ndarray:
    """Cross product v × w, bit for bit `np.cross`, whose care for axes takes longer than the products.

    Parameters
    ----------
    v, w : (..., 3) arrays that broadcast

    Returns
    -------
    (..., 3) array
    """
    out = np.empty(np.broadcast_shapes(v.shape, w.shape))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        out[..., i] = v[..., j] * w[..., k] - v[..., k] * w[..., j]
    return out


def vector_norm(v: np.ndarray) -> np.ndarray:
    """Lengths of short vectors, bit for bit `np.linalg.norm`, which takes three times as long on many.

    Parameters
    ----------
    v : (..., m) array

    Returns
    -------
    (...) array
    """
    return np.sqrt(sum((v[..., i] ** 2 for i in range(1, v.shape[-1])), start=v[..., 0] ** 2))


def exp(v: np.ndarray) -> np.ndarray:
    """Rotation matrices of rotation vectors.

    Parameters
    ----------
    v : (..., 3) array, rad

    Returns
    -------
    (..., 3, 3) array
    """
    return Rotation.from_rotvec(v.reshape(-1, 3)).as_matrix().reshape(*v.shape[:-1], 3, 3)


def log(R: np.ndarray) -> np.ndarray:
    """Rotation vectors of rotation matrices, angle in [0, π].

    Parameters
    ----------
    R : (..., 3, 3) array

    Returns
    -------
    (..., 3) array, rad

    Notes
    -----
    φ s / |s|, s the vector of R − Rᵀ, whose length is 2 sin φ, and tr R − 1 = 2 cos φ. Next to a half turn s
    vanishes; there it is scipy's, by quaternions.
    """
    s, cosine = _vector(R), _trace(R) - 1
    sine = vector_norm(s)
    share = np.divide(np.arctan2(sine, cosine), sine, out=np.full_like(sine, 0.5), where=sine > 0)
    out = s * share[..., None]
    far = cosine < HALF_TURN
    if np.any(far):
        out[far] = Rotation.from_matrix(R[far]).as_rotvec()
    return out


# 2 cos φ below which R − Rᵀ is too small to tell the axis well; by reasoning: within 2° of half a turn
HALF_TURN = -1.999


def _vector(R: np.ndarray) -> np.ndarray:
    """(..., 3) vector of R − Rᵀ: the axis times 2 sin φ."""
    out = np.empty(R.shape[:-1])
    out[..., 0] = R[..., 2, 1] - R[..., 1, 2]
    out[..., 1] = R[..., 0, 2] - R[..., 2, 0]
    out[..., 2] = R[..., 1, 0] - R[..., 0, 1]
    return out


def _trace(R: np.ndarray) -> np.ndarray:
    """(...) 1 + 2 cos φ; several times as fast as `np.trace` on many small matrices."""
    return R[..., 0, 0] + R[..., 1, 1] + R[..., 2, 2]


def as_rotation(R: np.ndarray) -> Rotation:
    """Scipy's Rotation of rotation matrices, taken to be ones: much faster than `Rotation.from_matrix`.

    Parameters
    ----------
    R : (n, 3, 3) array

    Returns
    -------
    Rotation of length n

    Notes
    -----
    Quaternion (sin φ/2 axis, cos φ/2) in proportion to (s, 1 + tr R), as long as that does not vanish.
    """
    whole = 1 + _trace(R)
    quat = np.concatenate([_vector(R), whole[:, None]], 1)
    far = whole < HALF_TURN + 2
    if far.any():
        quat[far] = Rotation.from_matrix(R[far]).as_quat()
    return Rotation.from_quat(quat)


def left_jacobian_inverse(v: np.ndarray) -> np.ndarray:
    """J with Log(Exp(δ) Exp(v)) ≈ v + J δ for small δ; its transpose serves perturbations on the right.

    Parameters
    ----------
    v : (..., 3) array, rad, length below 2π

    Returns
    -------
    (..., 3, 3) array

    Notes
    -----
    I − ½ [v]× + (1/φ² − (1 + cos φ)/(2 φ sin φ)) [v]×², φ = |v|. Source: Solà et al. 2018,
    arXiv:1812.01537, eq. 146.
    """
    phi = vector_norm(v)[..., None, None]
    K = skew(v)
    small = phi < 1e-4
    safe = np.where(small, 1.0, phi)
    # 1/φ² − cot(φ/2)/(2φ): the same coefficient, finite at φ = π where sin φ vanishes
    c = np.where(small, 1 / 12 + phi**2 / 720, 1 / safe**2 - 1 / (2 * safe * np.tan(safe / 2)))
    return np.eye(3) - 0.5 * K + c * (K @ K)


def heading_matrix(angle: np.ndarray) -> np.ndarray:
    """Rotations about world +Y (up).

    Parameters
    ----------
    angle : (...) array, rad

    Returns
    -------
    (..., 3, 3) array
    """
    angle = np.asarray(angle, float)
    return exp(np.stack([np.zeros_like(angle), angle, np.zeros_like(angle)], -1))


def heading_towards(R: np.ndarray, wanted: np.ndarray) -> float:
    """The turn about world +Y (up) that brings rotations closest to others.

    Parameters
    ----------
    R, wanted : (k, 3, 3)

    Returns
    -------
    rad

    Notes
    -----
    It maximises tr(Ry(a)ᵀ E), E = Σ wanted Rᵀ: tan a = (E₀₂ − E₂₀) / (E₀₀ + E₂₂).
    """
    E = np.sum(wanted @ np.swapaxes(R, -1, -2), axis=0)
    return float(np.arctan2(E[0, 2] - E[2, 0], E[0, 0] + E[2, 2]))


def apply(R: np.ndarray, v: np.ndarray) -> np.ndarray:
    """R v, frame by frame.

    Parameters
    ----------
    R : (..., 3, 3) array
    v : (..., 3) array

    Returns
    -------
    (..., 3) array
    """
    return np.einsum("...ij,...j->...i", R, v)


def products(steps: np.ndarray) -> np.ndarray:
    """Matrices multiplied one after the other, from the identity.

    Parameters
    ----------
    steps : (n, m, m)

    Returns
    -------
    (n + 1, m, m): I, S₀, S₀ S₁, …

    Notes
    -----
    √n rows of √n steps: products along all rows at once, then each row by what came before it (Blelloch
    1990, Prefix sums and their applications, sec. 1.2).
    """
    count, eye = len(steps) + 1, np.eye(steps.shape[-1])
    each = math.isqrt(count - 1) + 1
    out = np.broadcast_to(eye, (-(-count // each) * each, *eye.shape)).copy()
    out[1:count] = steps
    rows = out.reshape(-1, each, *eye.shape)
    for k in range(1, each):
        rows[:, k] = rows[:, k - 1] @ rows[:, k]
    for row in range(1, len(rows)):
        rows[row] = rows[row - 1, -1] @ rows[row]
    return out[:count]


def mean_rotation(R: np.ndarray) -> np.ndarray:
    """Rotations nearest to several, over the first axis.

    Parameters
    ----------
    R : (k, U, 3, 3)

    Returns
    -------
    (U, 3, 3)
    """
    return nearest_rotation(R.mean(0))


def nearest_rotation(B: np.ndarray) -> np.ndarray:
    """Rotations R nearest to matrices B: tr(Bᵀ R) is largest.

    Parameters
    ----------
    B : (..., 3, 3); of pairs of directions Σ w a bᵀ, where R carries b onto a

    Returns
    -------
    (..., 3, 3), proper

    Notes
    -----
    B = U S Vᵀ, R = U diag(1, 1, det U Vᵀ) Vᵀ. Source: Kabsch 1976, doi:10.1107/S0567739476001873; the
    proper sign Umeyama 1991, doi:10.1109/34.88573.
    """
    U, _, Vt = np.linalg.svd(B)
    U[..., :, 2] *= np.sign(np.linalg.det(U @ Vt))[..., None]
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


def continuous(quat: np.ndarray) -> np.ndarray:
    """Quaternions with signs such that neighbours are near.

    Parameters
    ----------
    quat : (T, 4)

    Returns
    -------
    (T, 4)
    """
    flips = np.where(np.sum(quat[1:] * quat[:-1], -1) < 0, -1.0, 1.0)
    return quat * np.concatenate([[1.0], np.cumprod(flips)])[:, None]


def smallest_rotation(v: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Smallest rotations that carry vectors onto one direction.

    Parameters
    ----------
    v : (k, 3)
    target : (3,), length one

    Returns
    -------
    (k, 3, 3)
    """
    v = v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-12)
    axis, cos = np.cross(v, target), v @ target
    sin = np.linalg.norm(axis, axis=-1)
    other = np.array([1.0, 0.0, 0.0]) if abs(target[0]) < 0.9 else np.array([0.0, 0.0, 1.0])
    unit = np.where(sin[:, None] > 1e-9, axis / np.maximum(sin, 1e-12)[:, None], other)
    return exp(unit * np.arctan2(sin, cos)[:, None])


def as_complex(v: np.ndarray) -> np.ndarray:
    """Horizontal part of world vectors as complex numbers whose argument is the heading.

    Parameters
    ----------
    v : (..., 3) array

    Returns
    -------
    (...) complex array; a turn by ψ about +Y multiplies by exp(iψ)
    """
    return v[..., 0] - 1j * v[..., 2]
