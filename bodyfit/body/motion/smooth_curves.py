"""A pose sequence as curves that can be differentiated: low-passed once, joints kept together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial.transform import Rotation

from ...core.filters import low_passed
from ...core.rotations import continuous
from ...errors import InputError
from ..chain import BodyModel
from .poses import PoseSequence

if TYPE_CHECKING:
    from scipy.interpolate import BSpline

SPLINE_DEGREE = 5  # quintic: the second derivative is still smooth; by reasoning


@dataclass(frozen=True, eq=False)
class RotationCurve:
    """A rotation over time: a spline through quaternions, scaled back to length one."""

    spline: BSpline

    @classmethod
    def through(cls, time: np.ndarray, rotation: Rotation) -> RotationCurve:
        """The curve through `rotation` (length T) at `time` (T,) s."""
        from scipy.interpolate import make_interp_spline

        return cls(make_interp_spline(time, continuous(rotation.as_quat()), SPLINE_DEGREE))

    def __call__(self, time: np.ndarray) -> Rotation:
        """Rotations at `time` (N,) s."""
        return Rotation.from_quat(self.spline(time))

    def mean_rate(self, time: np.ndarray, window: float) -> np.ndarray:
        """Angular rate in the turning frame, averaged over `window` (s) centred on `time`, (N, 3) rad/s.

        It is what a gyroscope that integrates between its samples reports: rotations by rate × window,
        one after the other, give back the curve exactly.
        """
        before, after = self(time - window / 2), self(time + window / 2)
        return (before.inv() * after).as_rotvec() / window


@dataclass(frozen=True, eq=False)
class SmoothMotion:
    """Rotations of all segments and the root's position as curves; other positions follow from the joints.

    Attributes
    ----------
    model : tree with every joint centre known
    start, end : s
    rotations : segment -> its curve, world_from_segment
    root_position : spline, m, world frame
    """

    model: BodyModel
    start: float
    end: float
    rotations: Mapping[str, RotationCurve]
    root_position: BSpline

    def poses(self, time: np.ndarray) -> PoseSequence:
        """The motion at `time` (T,) s."""
        rotations = {name: curve(time) for name, curve in self.rotations.items()}
        return PoseSequence(time, rotations, self.model, self.root_position(time))


def smooth_motion(poses: PoseSequence, cutoff: float | None = 10.0) -> SmoothMotion:
    """Motion behind a pose sequence: the same poses without the noise that differentiation would blow up.

    Parameters
    ----------
    poses : at least 0.5 s; the model must know every joint centre
    cutoff : Hz. 6 to 12 Hz is usual for recorded human motion (Winter, Biomechanics and Motor Control of
        Human Movement, 4th edition 2009, section 3.4.4); None or 0 keeps everything.

    Returns
    -------
    motion : rotations and the root's position are filtered; joints stay together by construction

    Raises
    ------
    InputError
        A rotation or position is missing, or the sequence is too short.
    """
    time = np.asarray(poses.time, float)
    _check(poses, time)
    count = len(time)
    even = np.linspace(time[0], time[-1], count)
    frequency = (count - 1) / (time[-1] - time[0])

    from scipy.interpolate import make_interp_spline

    def curve(values: np.ndarray) -> BSpline:
        values = low_passed(make_interp_spline(time, values, 3)(even), frequency, cutoff)
        return make_interp_spline(even, values, SPLINE_DEGREE)

    root = np.zeros((count, 3)) if poses.root_position is None else poses.root_position
    rotations = {
        name: RotationCurve(curve(continuous(rotation.as_quat())))
        for name, rotation in poses.rotations.items()
    }
    return SmoothMotion(poses.model, float(time[0]), float(time[-1]), rotations, curve(root))


def _check(poses: PoseSequence, time: np.ndarray) -> None:
    if len(time) < 20 or time[-1] - time[0] < 0.5:
        raise InputError(
            f"motion: {len(time)} poses over {np.ptp(time):.2f} s; expected 20 poses and 0.5 s at least"
        )
    if np.any(np.diff(time) <= 0):
        row = int(np.argmax(np.diff(time) <= 0)) + 1
        raise InputError(f"motion: time does not increase at row {row} (t = {time[row]:.4f} s)")
    loose = [j.name for j in poses.model.joints.values() if j.centre_in_parent is None]
    if loose:
        raise InputError(
            f"body model {poses.model.name!r}: joint {loose[0]} has no centre_in_parent_m, so the path of a "
            "unit is unknown. Scale the model to a person, or give the centre"
        )
