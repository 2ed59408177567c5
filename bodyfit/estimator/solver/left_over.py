"""What the last step of the solver still moved, where that is much beside how sure it is."""

from __future__ import annotations

import numpy as np

from ...core.arrays.scratch import let_go
from ..problem.problem import Problem

# of a standard deviation that a joint may still move by in a step; by reasoning: where each step is nine
# tenths of the one before, all that follow add up to one
UNDER_WAY = 0.1


def under_way(
    problem: Problem, step: np.ndarray, rotation: np.ndarray, relative: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """How far a last step turned units and joints that it turned by more than a share of their deviation.

    Parameters
    ----------
    problem : what is given
    step : (K + 1, U or more, 3) rad, world frame
    rotation, relative : (K + 1, U, 3, 3) and (K + 1, J, 3, 3) rad², as of `estimate.how_sure`

    Returns
    -------
    unit, joint : (U,) and (J,) rad, root mean square where they are watched; zero where it is little
    """
    units = [(step[:, u], rotation[:, u], (u,)) for u in range(rotation.shape[1])]
    joints = [
        (step[:, t.child] - step[:, t.parent], relative[:, j], (t.parent, t.child))
        for j, t in enumerate(problem.ties)
    ]
    return _much(problem, units), _much(problem, joints)


def _much(problem: Problem, moved: list[tuple[np.ndarray, np.ndarray, tuple[int, ...]]]) -> np.ndarray:
    """Of steps (K + 1, 3), covariances (K + 1, 3, 3) and the units that have to be watched."""
    out = np.zeros(len(moved))
    for i, (step, covariance, units) in enumerate(moved):
        at = problem.watched(units)
        size = np.sqrt(np.mean(np.sum(step[at] ** 2, -1)))
        deviation = np.sqrt(np.mean(np.trace(covariance[at], axis1=-2, axis2=-1)))
        let_go(step, covariance)
        out[i] = size if size > UNDER_WAY * deviation else 0.0
    return out
