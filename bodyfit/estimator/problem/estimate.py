"""What the estimator found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...alignment.latency import Lateness
from ...calibration.magnetic.field_gate import FieldTrust
from ...recording.keyframe_averages import Averages
from .problem import Problem
from .unknowns import Body, State


@dataclass(frozen=True, eq=False)
class Estimate:
    """What the smoother found.

    Attributes
    ----------
    problem, state, body, average : at the end
    trust : of the magnetic field
    late : what was taken off the stamps: latency of gyroscopes, offset and drift of each unit
    iterations, cost : of the solver
    last_step : rad, root mean square of the last step
    unit_left, joint_left : (U,) and (J,) rad, of the last step what a unit, and a child against its parent,
        was turned by; zero where that is little beside its standard deviation, and once the solver has
        settled: a step below 5e-4, or one that no longer changes the cost by one in ten thousand
    residuals : name -> root mean square
    rotation : (K + 1, U, 3, 3) rad², covariance of each unit's rotation, world frame
    relative : (K + 1, J, 3, 3) rad², per tie, of the child's rotation against the parent's, world frame
    other_cost : from the other of two ways in which units may face that are about as likely; None: one is
    """

    problem: Problem
    state: State
    body: Body
    average: Averages
    trust: FieldTrust
    late: Lateness
    iterations: int
    cost: float
    last_step: float
    unit_left: np.ndarray
    joint_left: np.ndarray
    residuals: Mapping[str, float]
    rotation: np.ndarray
    relative: np.ndarray
    other_cost: float | None = None

    @property
    def converged(self) -> bool:
        """Whether no unit and no joint between units was still under way."""
        both = [self.problem.both_measured(tie) for tie in self.problem.ties]
        return not (self.unit_left[self.problem.measured].any() or self.joint_left[both].any())
