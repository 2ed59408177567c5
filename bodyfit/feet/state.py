"""What is looked for along the path of a foot, and its columns in the least-squares problem."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from ..core.arrays.scratch import let_go, room, rows_at_once
from ..core.rotations import exp

# order of the state, by definition
TURN, VELOCITY, PLACE, GROUND, STATES = slice(0, 3), slice(3, 6), slice(6, 9), 9, 10
# order of the constants, by definition
BIAS_RATE, BIAS_FORCE, BALL, HEEL, LAG, SCALE, CONSTANTS = (
    slice(0, 3),
    slice(3, 6),
    slice(6, 9),
    slice(9, 12),
    12,
    13,
    14,
)
MOST_LAG = 0.05  # s, beyond which a lag is no lag (by reasoning: two samples of the slowest unit)


@dataclass(frozen=True, eq=False)
class FootState:
    """The path of a unit on a foot at K keyframes, and its constants.

    Attributes
    ----------
    R : (K, 3, 3) world_from_unit
    velocity, place : (K, 3) m/s and m, world
    ground : (K,) m, height of the ground below the foot
    constants : (14,) bias of gyroscope (rad/s) and accelerometer (m/s²), ball and heel seen from the unit (m,
        unit frame), lag of the gyroscope (s), scale of the accelerometer minus one
    """

    R: np.ndarray
    velocity: np.ndarray
    place: np.ndarray
    ground: np.ndarray
    constants: np.ndarray

    @property
    def bias_rate(self) -> np.ndarray:
        """(3,) rad/s, bias of the gyroscope."""
        return self.constants[BIAS_RATE]

    @property
    def ball(self) -> np.ndarray:
        """(3,) m, ball of the foot seen from the unit, unit frame."""
        return self.constants[BALL]

    @property
    def heel(self) -> np.ndarray:
        """(3,) m, heel seen from the unit, unit frame."""
        return self.constants[HEEL]

    @property
    def lag(self) -> float:
        """Seconds by which the gyroscope lags behind the accelerometer."""
        return float(self.constants[LAG])

    def within(self, span: slice) -> FootState:
        """Only some keyframes."""
        parts = {name: getattr(self, name)[span] for name in ("R", "velocity", "place", "ground")}
        return dataclasses.replace(self, **parts)

    def stepped(self, step: np.ndarray, constants: np.ndarray) -> FootState:
        """The state moved by a step of the least squares, (K, 10) and (14,); turns are in the world frame."""
        moved = self.constants + constants
        moved[LAG] = np.clip(moved[LAG], -MOST_LAG, MOST_LAG)
        R, velocity, place, ground = (room(x.shape) for x in (self.R, self.velocity, self.place, self.ground))
        for at in rows_at_once(len(R)):
            R[at] = exp(step[at, TURN]) @ self.R[at]
            velocity[at] = self.velocity[at] + step[at, VELOCITY]
            place[at] = self.place[at] + step[at, PLACE]
            ground[at] = self.ground[at] + step[at, GROUND]
            let_go(R, self.R)
        return FootState(R, velocity, place, ground, moved)


def start_state(R: np.ndarray, ball: np.ndarray, heel: np.ndarray) -> FootState:
    """Where the least squares starts: rotations as given, all else at rest.

    Parameters
    ----------
    R : (K, 3, 3) world_from_unit at the keyframes
    ball, heel : (3,) m, expected places seen from the unit, unit frame

    Returns
    -------
    FootState
    """
    K = len(R)
    constants = np.zeros(CONSTANTS)
    constants[BALL], constants[HEEL] = ball, heel
    return FootState(R, np.zeros((K, 3)), np.zeros((K, 3)), np.zeros(K), constants)
