"""How units sit on their segments: segment_from_unit, how sure it is, and the still poses that show it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag
from scipy.ndimage import uniform_filter1d

from .fusion import Fused

STILL_RATE = 0.15  # rad/s, root mean square below which a pose is taken for held; chosen; not tried
STILL_S = 0.5  # s, shortest pose that is looked for when none is declared; chosen; not tried
# standard deviation up to which other things may rest on a mounting; chosen; not tried
SURE = np.radians(15.0)


@dataclass(frozen=True, eq=False)
class Held:
    """A stretch of time in which the body held a pose.

    Attributes
    ----------
    pose : its name; "neutral" is what every model has
    start, end : s
    segments : (U, 3, 3) world_from_segment of the pose when the body faces +X
    sd : (U, 3) rad, how well people hold it: tilt about X, heading, tilt about Z
    declared : whether the capture says so, or it is only assumed
    """

    pose: str
    start: float
    end: float
    segments: np.ndarray
    sd: np.ndarray
    declared: bool

    def holds(self, time: np.ndarray, around: float = 0.0) -> np.ndarray:
        """(n,) bool, which of the times (n,) s lie in it, or so many seconds before or after."""
        return (time >= self.start - around) & (time <= self.end + around)


@dataclass(frozen=True, eq=False)
class Mounting:
    """How each unit sits, and how sure that is.

    Attributes
    ----------
    segment_from_unit : (U, 3, 3) M
    covariance : (U, 3, 3) rad², of the rotation vector φ with Exp(φ) M true, segment frame
    sources : per unit, what was fused, most telling first, e.g. "given, joint axis"
    pose : (start, end) s of the still pose that was used or assumed, or None
    facing : where the heading of the pose comes from: "mounting given", "joint axes" or "unknown"
    held : the poses that were used
    fused : the evidence in full, or None
    """

    segment_from_unit: np.ndarray
    covariance: np.ndarray
    sources: tuple[str, ...]
    pose: tuple[float, float] | None
    facing: str
    held: tuple[Held, ...] = ()
    fused: Fused | None = None

    @property
    def together(self) -> np.ndarray:
        """(3U, 3U) rad², covariance of all mountings, with what they share, such as the heading of a pose."""
        return np.asarray(block_diag(*self.covariance)) if self.fused is None else self.fused.together

    @property
    def sd(self) -> np.ndarray:
        """(U,) rad, in the direction in which each is least sure."""
        return np.sqrt(np.linalg.eigvalsh(self.covariance)[:, -1])

    @property
    def tilt_known(self) -> np.ndarray:
        """(U,) bool, known well enough in at least two directions: how the long axis lies."""
        return np.sqrt(np.linalg.eigvalsh(self.covariance)[:, 1]) <= SURE

    @property
    def sure(self) -> np.ndarray:
        """(U,) bool, known well enough for other things to rest on."""
        return self.sd <= SURE


def still_pose(time: np.ndarray, rate: np.ndarray) -> tuple[float, float]:
    """First stretch in which no unit turns, for captures that declare none.

    Parameters
    ----------
    time : (n,) s
    rate : (n, U) rad/s, norms

    Returns
    -------
    start, end : s, half a second long; the calmest one where nothing is still
    """
    step = (time[-1] - time[0]) / (len(time) - 1)
    window = max(2, min(round(STILL_S / step), len(time)))
    moving = np.sqrt(uniform_filter1d((rate**2).max(1), window, mode="nearest"))
    inside = slice(window // 2, max(window // 2 + 1, len(time) - window // 2))
    calm = np.flatnonzero(moving[inside] < STILL_RATE)
    middle = inside.start + (calm[0] if len(calm) else int(np.argmin(moving[inside])))
    return float(time[middle] - STILL_S / 2), float(time[middle] + STILL_S / 2)


def segment_rotations(R: np.ndarray, mounting: Mounting) -> np.ndarray:
    """Segment rotations from those of their units.

    Parameters
    ----------
    R : (..., U, 3, 3) world_from_unit, freed from the elastic part of the mounting
    mounting : of the U units

    Returns
    -------
    (..., U, 3, 3) world_from_segment
    """
    return R @ np.swapaxes(mounting.segment_from_unit, -1, -2)
