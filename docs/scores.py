"""How far a found motion is from a true one: rotations between neighbours, and angles."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from bodyfit.study.accuracy.rotation_error import (
    LAGS_S,
    Pair,
    best_lag,
    ends_removed,
    renaming,
    rms,
    rotation_rms,
)

__all__ = [
    "LAGS_S",
    "Pair",
    "best_lag",
    "ends_removed",
    "frames_renamed",
    "over_pairs",
    "rms",
    "rotation_rms",
]


def frames_renamed(found: Rotation, true: Rotation) -> Rotation:
    """The true rotations seen from other axes, the same at both ends, that bring them closest."""
    axes = renaming(found, true)
    return axes * true * axes.inv()


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
