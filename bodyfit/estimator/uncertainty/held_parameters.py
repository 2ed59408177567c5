"""What is held while the smoother steps, and how it enters the residuals: needed to say how sure a result is.

In this order: two lever arms a joint (6 numbers, m), a constant error of each accelerometer (3 a unit, m/s²,
unit frame: bias and misalignment), the two ends of each hinge axis (6 a hinge, rotation vectors of either
direction, rad, unit frames), the arms across segments without a unit (3 each, m, unit frames).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag

from ...core.rotations import skew
from ...recording.keyframe_averages import Averages
from ..problem.chain_prior import expected
from ..problem.problem import Problem
from ..problem.unknowns import Body, State
from ..residuals.base import Linearised
from ..solver.residual_pieces import Residuals
from ..updates.joint_geometry import AXIS_DECLARED_SD, declared_axis, prior_of_levers

AXIS_TURN = 1.0  # rad, of an axis that the model does not tell; the motion says how sure it is


def with_constants(
    parts: Sequence[Linearised], problem: Problem, state: State, body: Body, average: Averages
) -> list[Linearised]:
    """The residuals with their derivatives by the constants.

    Parameters
    ----------
    parts, problem, state, body, average : at the solution

    Returns
    -------
    list of Linearised

    Notes
    -----
    Joint centre, r = R_p (f_p − b_p) + L_p r_p − R_c (f_c − b_c) − L_c r_c; gravity, r = R (f − b) − g ŷ;
    velocity, r = v_{k+1} − v_k − ½ Δt Σ (R (f − b) − g ŷ); hinge, r = R_p Exp(a_p) j_p − R_c Exp(a_c) j_c;
    integrated, Δt R b and ½ Δt² R b.
    """
    by_name = {
        "joint-centre agreement": _of_joints(body, state, average),
        "gravity": _of_gravity(body, state),
        "velocity gain": _of_velocities(problem, body, state),
        "hinge axis": _of_hinges(problem, body, state),
        "velocity gain by travel": _of_travels(problem, body, state, 1),
        "way": _of_travels(problem, body, state, 2),
    }
    first = 6 * len(body.ends.units) + 3 * state.R.shape[1] + 6 * len(body.axes)
    out = []
    for part in parts:
        constants = by_name.get(part.name)
        if part.constants is not None:
            constants = (part.constants[0] + first, part.constants[1])
        out.append(replace(part, constants=constants))
    return out


@dataclass(frozen=True, eq=False)
class WithConstants:
    """Residuals with their derivatives by the constants, a stretch of keyframes at a time.

    Attributes
    ----------
    residuals, problem, state, body, average : at the solution
    """

    residuals: Residuals
    problem: Problem
    state: State
    body: Body
    average: Averages

    def piece(self, start: int, end: int) -> tuple[list[Linearised], int]:
        """As of `InPieces`."""
        parts, row = self.residuals.piece(start, end)
        a, b = self.residuals.reach(start, end)
        given = self.problem.piece(a, b), self.state.piece(a, b), self.body, self.average.piece(a, b)
        found = with_constants(parts, *given)
        self.average.let_go()
        self.state.let_go()
        return found, row


def information_beforehand(problem: Problem, body: Body) -> tuple[np.ndarray, np.ndarray]:
    """Information about the constants that does not come from the residuals.

    Parameters
    ----------
    problem, body : at the solution

    Returns
    -------
    information : (q, q)
    allowed : (q,) bool, constants that the estimator allows for but does not find: the accelerometers'
    """
    units = len(problem.signals.units)
    levers = prior_of_levers(problem, body.ends, body.joints, body.mounting).precision
    accelerometers = np.diag(np.repeat(problem.accelerometer_constant**-2.0, 3))
    axes = np.diag(np.repeat(_axis_sd(problem, body) ** -2.0, 6))
    inferred = expected(problem, body.mounting)[1]
    information = np.asarray(block_diag(levers, accelerometers, axes, inferred))
    at = np.arange(len(information)) - len(levers)
    return information, (at >= 0) & (at < 3 * units)


def _axis_sd(problem: Problem, body: Body) -> np.ndarray:
    """(H,) rad, how far each hinge's axis may be off before the motion shows it."""
    told = [declared_axis(problem.ties[i], body.mounting) is not None for i in body.axes]
    return np.where(told, AXIS_DECLARED_SD, AXIS_TURN)


def _of_joints(body: Body, state: State, average: Averages) -> tuple[np.ndarray, np.ndarray]:
    p, c = body.ends.units.T
    arms = 6 * np.arange(len(p))[:, None] + np.arange(6)
    at = np.concatenate([arms, _accelerometers(body, p), _accelerometers(body, c)], 1)
    levers = (average.lever[:, p], -average.lever[:, c])
    return at, np.concatenate([*levers, -state.R[:, p], state.R[:, c]], -1)


def _of_gravity(body: Body, state: State) -> tuple[np.ndarray, np.ndarray]:
    return _accelerometers(body, np.arange(state.R.shape[1])), -state.R


def _of_velocities(problem: Problem, body: Body, state: State) -> tuple[np.ndarray, np.ndarray]:
    at, half = problem.swaying, 0.5 * problem.signals.key_step
    return _accelerometers(body, at), half * (state.R[1:, at] + state.R[:-1, at])


def _of_travels(
    problem: Problem, body: Body, state: State, times: int
) -> tuple[np.ndarray, np.ndarray] | None:
    if not len(problem.placed):
        return None
    at, step = problem.placed, problem.signals.key_step
    return _accelerometers(body, at), step**times / times * state.R[:-1, at]


def _of_hinges(problem: Problem, body: Body, state: State) -> tuple[np.ndarray, np.ndarray] | None:
    if not body.axes:
        return None
    first = 6 * len(body.ends.units) + 3 * state.R.shape[1]
    at = first + 6 * np.arange(len(body.axes))[:, None] + np.arange(6)
    ends = np.array([[problem.ties[i].parent, problem.ties[i].child] for i in body.axes])
    axes = skew(np.array([axis.directions for axis in body.axes.values()]))
    J = (-state.R[:, ends[:, 0]] @ axes[:, 0], state.R[:, ends[:, 1]] @ axes[:, 1])
    return at, np.concatenate(J, -1)


def _accelerometers(body: Body, units: np.ndarray) -> np.ndarray:
    """(E, 3) indices of the constant errors of some units' accelerometers."""
    return 6 * len(body.ends.units) + 3 * units[:, None] + np.arange(3)
