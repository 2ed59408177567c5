"""Up and forward of the body where nobody walks: people lean forward when they rise, sit down or bend."""

from __future__ import annotations

import numpy as np

from .samples import FREQUENCY
from .upright import directions, low_passed
from .walking_frame import frame_of

CUTOFF = 1.5  # Hz; tried: on chairs and bends of activity_waist_young_old
BRIEF_S = 1.0  # s, tried: 1, 1.5, 2, 3 on the same; longer leans are postures
FAR, FARTHEST = (
    np.radians(50),
    np.radians(60),
)  # tilts beyond which somebody lies rather than leans (by reasoning)
LEAST = 0.02  # least lean that tells anything, as sine: over what standing sways (by reasoning)


def leaning_frame(up: np.ndarray) -> tuple[np.ndarray, bool]:
    """Forward, left and up of the upright body, as rows in the unit's frame, taken from how posture changes.

    Parameters
    ----------
    up : (N, 3) array, length one, unit frame

    Returns
    -------
    (3, 3) rotation matrix body_from_unit, and whether some lean showed forward; else forward is a guess

    Notes
    -----
    Upright is the posture of the first second. Forward lies along the line on which posture changes most;
    its sign is that of brief leans, weighed by their size, for up moves backward as somebody leans forward.
    """
    smooth = directions(low_passed(up, CUTOFF))
    upright = directions(np.median(smooth[: int(FREQUENCY)], axis=0))
    tilt = np.arccos(np.clip(smooth @ upright, -1, 1))
    basis = np.linalg.svd(upright[None])[2][1:]
    level = smooth @ basis.T
    near = level[tilt < FARTHEST]
    line = np.linalg.svd(near - np.median(near, axis=0), full_matrices=False)[2][0]
    reach = int(BRIEF_S / 2 * FREQUENCY)
    at = np.arange(len(level))
    around = level[np.maximum(at - reach, 0)] + level[np.minimum(at + reach, len(level) - 1)]
    lean = (level - 0.5 * around) @ line * (tilt < FAR)
    sign = -np.sign(np.sum(np.sign(lean) * lean**2)) or 1.0
    return frame_of(upright, sign * line @ basis), bool(np.abs(lean).max() > LEAST)
