"""Gyroscope bias: small at the start, and wandering slowly."""

from __future__ import annotations

import numpy as np

from .base import Linearised


def bias_walk(bias: np.ndarray, variance: np.ndarray | float) -> Linearised:
    """Change of each gyroscope's bias between keyframes.

    Parameters
    ----------
    bias : (K + 1, U, 3) rad/s
    variance : (rad/s)² per keyframe interval, a number or (K,)

    Returns
    -------
    Linearised, m = 3, rad/s
    """
    K, U = len(bias) - 1, bias.shape[1]
    eye = np.broadcast_to(np.eye(3), (K, U, 3, 3))
    slots = U + np.arange(U)
    weight = np.broadcast_to(1 / np.reshape(variance, (-1, 1, 1)), (K, U, 3))
    return Linearised("bias walk", np.diff(bias, axis=0), ((slots, 0, -eye), (slots, 1, eye)), weight)


def bias_level(bias: np.ndarray, expected: np.ndarray, variance: np.ndarray) -> Linearised:
    """Each gyroscope's bias against what is expected: zero at the start, what it reads at rest.

    Parameters
    ----------
    bias : (K + 1, U, 3) rad/s
    expected : (K + 1, U, 3) or broadcast, rad/s
    variance : (K + 1, U) (rad/s)², infinite where nothing is known

    Returns
    -------
    Linearised, m = 3, rad/s
    """
    U = bias.shape[1]
    eye = np.broadcast_to(np.eye(3), (*bias.shape[:2], 3, 3))
    weight = np.repeat(1 / variance[..., None], 3, -1)
    return Linearised("bias", bias - expected, ((U + np.arange(U), 0, eye),), weight)
