"""Standing: when a foot without a unit stands on the floor, by the motion of its calf."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...alignment.mounting import Mounting
from ...core.arrays.scratch import rows_at_once
from ...core.intervals import runs
from ...core.rotations import UP, apply
from ...recording.keyframe_averages import Averages
from ..problem.chain_prior import arm_to
from ..problem.problem import Problem
from ..problem.unknowns import State

# Tried: on 39 motions of motions_isb (true motion, averaged as here) with these limits: of that time 3 to 7 %
# the sole is inclined by over 20°, median 5 to 7°; 36 % in balancing on one leg: the other foot hangs higher.
STILL_M_S2 = 1.0  # m/s², root mean square at the ankle; tried: 0.5, 1, 2, 3, 5: 3 to 17 % inclined
STILL_S = 0.3  # s over which; chosen; not tried
UPRIGHT = np.cos(np.radians(40.0))  # of the calf's inclination; lying and kneeling are left out; by reasoning
HIGHER_M = 0.12  # m, above the other a foot hangs, or is a stair up; by reasoning: a path is good to 3 cm
FAR = 1e3  # m/s², where nothing was felt; by definition: more than any limb's


def standing(problem: Problem, state: State, mounting: Mounting, average: Averages) -> np.ndarray:
    """When each foot without a unit stands.

    Parameters
    ----------
    problem, state, mounting, average : what is given and found so far

    Returns
    -------
    (K + 1, F) bool, for `problem.soles`

    Notes
    -----
    A calf turns about an ankle that stands: its acceleration a = R (f + A r) − g ŷ vanishes there, A the
    matrix of the unit's turning, r the arm from the unit to the ankle. A foot that hangs was lifted:
    of two that are still, the one that came to be higher by the integral of a, at rest wherever it is still.
    """
    still = np.zeros((len(state.R), len(problem.soles)), bool)
    if not len(problem.soles):
        return still
    step, upward = problem.signals.key_step, np.zeros(still.shape)
    for n, (joint, calf, _) in enumerate(problem.soles):
        arm = arm_to(problem, mounting, calf, joint)
        if arm is None:
            continue
        known, M = average.known[:, calf], mounting.segment_from_unit[calf]
        felt, upright = np.empty((len(known), 3)), np.empty(len(known), bool)
        for at in rows_at_once(len(known)):
            felt[at] = average.force[at, calf] + apply(average.lever[at, calf], arm) - problem.g * UP
            upright[at] = state.R[at, calf, 1] @ M[1] > UPRIGHT  # ŷ · R Mᵀ ŷ
            average.let_go()
            state.let_go()
        square = np.where(known, np.sum(felt**2, -1), FAR**2)
        quiet = uniform_filter1d(square, 2 * round(STILL_S / step / 2) + 1) < STILL_M_S2**2
        upward[:, n], still[:, n] = known * felt[:, 1], quiet & upright
    return still & ~hanging(still, climbed(still, upward, step)) if still.shape[1] == 2 else still


def climbed(still: np.ndarray, upward: np.ndarray, step: float) -> np.ndarray:
    """Height of ankles that rest wherever they are still.

    Parameters
    ----------
    still : (K + 1, F) bool
    upward : (K + 1, F) m/s²
    step : s between keyframes

    Returns
    -------
    (K + 1, F) m, from the first keyframe on; the velocity's error grows evenly from one rest to the next
    """
    speed, k = _integral(upward, step), np.arange(len(still))
    for n in range(still.shape[1]):
        at = np.flatnonzero(still[:, n])
        speed[:, n] -= np.interp(k, at, speed[at, n]) if len(at) else 0.0
    return _integral(speed, step)


def _integral(values: np.ndarray, step: float) -> np.ndarray:
    """Of (k, F) from the first row on, by the trapezoidal rule; scipy's would load its optimizers too."""
    means = 0.5 * (values[1:] + values[:-1])
    return step * np.concatenate([np.zeros_like(values[:1]), np.cumsum(means, axis=0)])


def hanging(still: np.ndarray, height: np.ndarray) -> np.ndarray:
    """Of two feet that are still together, the one that is far higher; both stand level at first.

    Parameters
    ----------
    still : (K + 1, 2) bool
    height : (K + 1, 2) m

    Returns
    -------
    (K + 1, 2) bool; all the time that such a foot stays where it is
    """
    out, level = np.zeros(still.shape, bool), None
    for start, end in runs(still[:, 0] & still[:, 1]):
        above = float(np.mean(height[start:end, 0] - height[start:end, 1]))
        level = above if level is None else level
        if abs(above - level) < HIGHER_M:
            level = above  # one floor: what integration is off by does not add up
            continue
        foot = int(above < level)
        for first, last in runs(still[:, foot]):
            out[first:last, foot] |= first <= start < last
    return out
