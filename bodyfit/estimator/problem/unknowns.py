"""The unknowns: what changes from keyframe to keyframe, and what stays the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ...alignment.facing.known import Facing
from ...alignment.facing.lean import Level
from ...alignment.joint_axis import Axis
from ...alignment.joint_centre import Ends
from ...alignment.mounting import Mounting
from ...core.arrays.scratch import let_go, room, rows_at_once
from ...core.rotations import exp


@dataclass(frozen=True, eq=False)
class Body:
    """What stays the same during the capture, found between the solver's steps.

    Attributes
    ----------
    ends : joints between units with accelerometers; levers (J, 2, 3) m; joint_sd (J,) m/s²
    lever_covariance : (6J, 6J) m²
    axes : tie -> hinge axis; hinge_sd : tie -> rad
    elastic : (U, 3, 3) rad per m/s², turn of each unit against its segment under load
    mounting : segment_from_unit and where it comes from
    range_holds : tie -> (3,) bool, for joints with known mountings; where an angle lies outside its range too
        often, the neutral pose must differ, and the range is not used
    inferred : (L + A, 3) rad and m, beside segments without a unit: the person's own postures, and the arms
        of the bridges; see `bridges.expected`
    standing : (K + 1, F) bool, when each foot of `Problem.soles` stands
    seated : (K + 1, L) bool, when each joint of `Problem.postures` stays as it is on a seat
    level : how askew a declared pose was held, as far as joints show it, or None
    facing : how units face whose pose is parted from the motion, or None
    """

    ends: Ends
    joints: Sequence[int]
    levers: np.ndarray
    lever_covariance: np.ndarray
    joint_sd: np.ndarray
    axes: Mapping[int, Axis]
    hinge_sd: Mapping[int, float]
    elastic: np.ndarray
    mounting: Mounting
    range_holds: Mapping[int, np.ndarray] = field(default_factory=dict)
    inferred: np.ndarray = field(default_factory=lambda: np.zeros((0, 3)))
    standing: np.ndarray = field(default_factory=lambda: np.zeros((0, 0), bool))
    seated: np.ndarray = field(default_factory=lambda: np.zeros((0, 0), bool))
    level: Level | None = None
    facing: Facing | None = None

    def piece(self, start: int, end: int) -> Body:
        """The same at the keyframes start ≤ k < end."""
        return replace(self, standing=self.standing[start:end], seated=self.seated[start:end])


@dataclass(frozen=True, eq=False)
class State:
    """The unknowns.

    Attributes
    ----------
    R : (K + 1, U, 3, 3) world_from_unit
    bias : (K + 1, U, 3) rad/s, gyroscopes
    velocity : (K + 1, V, 3) m/s, world frame, of the units in `Problem.moving`
    position : (K + 1, E, 3) m, world frame, of the units in `Problem.placed`
    """

    R: np.ndarray
    bias: np.ndarray
    velocity: np.ndarray
    position: np.ndarray

    @property
    def slots(self) -> int:
        """Number of three-vectors per keyframe."""
        return 2 * self.R.shape[1] + self.velocity.shape[1] + self.position.shape[1]

    def piece(self, start: int, end: int) -> State:
        """The same at the keyframes start ≤ k < end."""
        return State(*(x[start:end] for x in (self.R, self.bias, self.velocity, self.position)))

    def stepped(self, step: np.ndarray) -> State:
        """After a step (K + 1, slots, 3)."""
        U, V = self.R.shape[1], self.velocity.shape[1]
        turn, *others = np.split(step, [U, 2 * U, 2 * U + V], axis=1)
        R, *moved = (room(x.shape) for x in (self.R, self.bias, self.velocity, self.position))
        for at in rows_at_once(len(R)):
            R[at] = exp(turn[at]) @ self.R[at]
            for out, x, by in zip(moved, (self.bias, self.velocity, self.position), others, strict=True):
                np.add(x[at], by[at], out=out[at])
            let_go(R, self.R)
        self.let_go()
        let_go(step, *moved)
        return State(R, *moved)

    def let_go(self) -> None:
        """Takes what is on the disk out of memory until it is next read."""
        let_go(self.R, self.bias, self.velocity, self.position)
