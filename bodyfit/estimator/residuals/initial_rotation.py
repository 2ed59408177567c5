"""Start: where nothing else holds a unit's rotation, it stays near what the search found."""

from __future__ import annotations

import numpy as np

from .base import Linearised


def rotation_at_start(keyframes: int, sd: np.ndarray) -> Linearised:
    """Rotation of each unit at the first keyframe, against where it is.

    Parameters
    ----------
    keyframes : K + 1
    sd : (U, 3) rad, about the world's axes; tiny about the vertical for the unit whose heading defines the
        world's, wide for the rest

    Returns
    -------
    Linearised, m = 3, rad; its value is zero, it only keeps the step in bounds
    """
    U = len(sd)
    weight = np.zeros((keyframes, U, 3))
    weight[0] = 1 / sd**2
    J = np.broadcast_to(np.eye(3), (keyframes, U, 3, 3))
    return Linearised("rotation at the start", np.zeros((keyframes, U, 3)), ((np.arange(U), 0, J),), weight)
