"""Sitting: when thighs without a unit lie on a seat, so that legs stay as they are."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...alignment.mounting import Mounting
from ...body.anatomy import THIGHS
from ...core.intervals import runs
from ...core.rotations import log
from ..problem.problem import Problem
from ..problem.unknowns import State

# rad/s, root mean square of a unit's turning at rest; tried: 0.1, 0.2, 0.4 on a walk to a bench: knees of who
# sits are off by 23, 22, 21°
RESTS = 0.2
REST_S = 0.5  # s over which; chosen; not tried
# of a thigh's inclination, from which it lies; tried: 30, 40, 50° on that walk: 22, 22, 30°
LIES = np.cos(np.radians(40.0))


def seated(problem: Problem, state: State, mounting: Mounting) -> np.ndarray:
    """When the joints of thighs without a unit stay as they are on a seat.

    Parameters
    ----------
    problem, state, mounting : what is given and found so far

    Returns
    -------
    (K + 1, L) bool, for `problem.postures`: hip and knee while pelvis and calf rest, if both thighs lay when
        that began
    """
    ends = problem.postures.ends
    out = np.zeros((len(state.R), len(ends)), bool)
    if not problem.thighs:
        return out
    both = [tie.child for tie in problem.ties if tie.joint.child in THIGHS]
    upright = np.einsum("kui,ui->ku", state.R[:, both, 1], mounting.segment_from_unit[both, 1])  # ŷ · R Mᵀ ŷ
    lie = np.all(upright < LIES, axis=1)
    for hip, knee in problem.thighs:
        around = state.R[:, [ends[hip, 0], ends[knee, 1]]]
        for start, end in runs(at_rest(around, problem.signals.key_step)):
            out[start:end, [hip, knee]] = lie[start]
    out[0] = False  # who sits from the start on starts at the usual posture, too: nothing else tells where
    return out


def at_rest(R: np.ndarray, step: float) -> np.ndarray:
    """When none of some units turns.

    Parameters
    ----------
    R : (K + 1, n, 3, 3) world_from_unit
    step : s between keyframes

    Returns
    -------
    (K + 1,) bool
    """
    rate = log(np.swapaxes(R[:-1], -1, -2) @ R[1:]) / step
    square = np.sum(np.concatenate([rate, rate[-1:]]) ** 2, -1)
    size = 2 * round(REST_S / step / 2) + 1
    return np.all(uniform_filter1d(square, size, axis=0) < RESTS**2, axis=1)
