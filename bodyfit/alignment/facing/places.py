"""Where joints lie about a unit, as evidence on how it faces: hip centres side by side, an ankle behind."""

from __future__ import annotations

import numpy as np

from ...core.rotations import heading_matrix
from .grid import FINE

HIPS_APART, HIPS_SD = 0.17, 0.04  # m, right of left: Bell 1989's ratio about 0.1 of stature (from memory)
ANKLE_BEHIND, ANKLE_SD = 0.06, 0.05  # m, of a unit on the instep or shoelaces (from memory)
FLOOR = 6.0  # of a log-likelihood: a unit may be worn where nobody wears one; chosen; not tried


def place_evidence(
    level: np.ndarray, vector: np.ndarray, covariance: np.ndarray, expected: np.ndarray
) -> np.ndarray:
    """Log-likelihood of a unit's facing by the horizontal place of a joint, or of one joint from another.

    Parameters
    ----------
    level : (3, 3) segment_from_unit of a unit that faces at zero
    vector, covariance : (3,) m and (3, 3) m², unit frame, as the motion shows it, spread of people included
    expected : (3,) m, segment frame; its vertical part is not looked at

    Returns
    -------
    (F,) on `FINE`, highest at zero
    """
    M = heading_matrix(FINE) @ level
    off = (M @ vector - expected)[:, [0, 2]]
    C = (M @ covariance @ np.swapaxes(M, -1, -2))[:, [0, 2]][:, :, [0, 2]]
    log = -0.5 * np.einsum("gi,gi->g", off, np.linalg.solve(C, off[..., None])[..., 0])
    return np.logaddexp(log - log.max(), -FLOOR)


def hips_evidence(
    level: np.ndarray, left: tuple[np.ndarray, np.ndarray], right: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Log-likelihood of the pelvis unit's facing: the right hip's centre lies right of the left one's.

    Parameters
    ----------
    level : (3, 3) as in `place_evidence`
    left, right : arm (3,) m to that hip in the unit frame, and its covariance (3, 3) m²

    Returns
    -------
    (F,) on `FINE`
    """
    covariance = left[1] + right[1] + HIPS_SD**2 * np.eye(3)
    return place_evidence(level, right[0] - left[0], covariance, np.array([0.0, 0.0, HIPS_APART]))


def ankle_evidence(level: np.ndarray, arm: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """Log-likelihood of a foot unit's facing: it is worn ahead of the ankle.

    Parameters
    ----------
    level : (3, 3) as in `place_evidence`
    arm, covariance : (3,) m from the unit to the ankle, unit frame, and (3, 3) m²

    Returns
    -------
    (F,) on `FINE`
    """
    expected = np.array([-ANKLE_BEHIND, 0.0, 0.0])
    return place_evidence(level, arm, covariance + ANKLE_SD**2 * np.eye(3), expected)
