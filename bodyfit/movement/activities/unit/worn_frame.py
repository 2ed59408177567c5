"""How a worn unit sits on the body: by walking, by its mounting, or by how its wearer leans."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from .leaning_frame import leaning_frame
from .walking_frame import walking_frame

BODY_FROM_SEGMENT = np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]])  # forward, left, up of X, -Z, Y


def worn_frame(force: np.ndarray, up: np.ndarray, mounting: np.ndarray | None) -> tuple[np.ndarray, str]:
    """Forward, left and up of the upright body, as rows in the unit's frame, and what told them.

    Parameters
    ----------
    force, up : (N, 3) m/s² and length one, unit frame
    mounting : (4,) segment_from_unit, xyzw, where it is known; segments as upright as the body

    Returns
    -------
    (3, 3) body_from_unit, and "walking", "mounting", "leaning" or "guess"
    """
    frame = walking_frame(force, up)
    if frame is not None:
        return frame, "walking"
    if mounting is not None:
        return BODY_FROM_SEGMENT @ Rotation.from_quat(mounting).as_matrix(), "mounting"
    frame, shown = leaning_frame(up)
    return frame, "leaning" if shown else "guess"
