"""Heading: the one direction that gravity does not show; held at the start where nothing else holds it."""

from __future__ import annotations

import numpy as np

from .base import Linearised


def heading_at_start(keyframes: int, sd: np.ndarray, turned: np.ndarray) -> Linearised:
    """Heading of each unit at the first keyframe, against where the search put it.

    Parameters
    ----------
    keyframes : K + 1
    sd : (U,) rad; tiny for the unit whose heading defines the world's, wide for the rest
    turned : (U,) rad, by how much the estimate has turned since

    Returns
    -------
    Linearised, m = 1, rad
    """
    U = len(sd)
    value, weight = np.zeros((keyframes, U, 1)), np.zeros((keyframes, U, 1))
    value[0, :, 0], weight[0, :, 0] = turned, 1 / sd**2
    J = np.broadcast_to(np.array([0.0, 1.0, 0.0]), (keyframes, U, 1, 3))
    return Linearised("heading at the start", value, ((np.arange(U), 0, J),), weight)
