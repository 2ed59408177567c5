"""What is given, what is looked for, and what stays the same during a capture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from .body import Joint
from .bridges import Bridge, bridges_of
from .earth_field import EarthField
from .geometry import Axis, Ends
from .mounting import Held, Mounting
from .postures import Postures, postures
from .preintegration import Travels, Turns, travels
from .rotations import exp, log
from .signals import Signals
from .weights import Weights

DETERMINED = np.radians(10.0)  # standard deviation above which an axis counts as unknown


@dataclass(frozen=True, eq=False)
class Tie:
    """A joint between two units of the problem: the model's joint, and which unit is at either end."""

    joint: Joint
    parent: int
    child: int


@dataclass(frozen=True, eq=False)
class Problem:
    """All that is given: signals, the body between the units, and how much to believe what.

    Attributes
    ----------
    signals, turns : of U units
    ties : joints between them; none: each unit is solved by itself
    given_mounting : per unit, quaternion xyzw or None
    places : per unit, mean and covariance of its origin in the segment frame (m, m²), or None
    held : poses that the capture declares
    movements : (tie, start, end) in s, joints that moved by themselves about their axis
    g : m/s²
    earth : the Earth's field at the capture's place, or None
    field_norm : (U,) T, median of each magnetometer's norm; NaN where it reads arbitrary units, or none
    weights : standard deviations
    measured_lengths : per unit, whether the length of its segment was measured; empty: of none
    """

    signals: Signals
    turns: Turns
    ties: Sequence[Tie]
    given_mounting: Sequence[np.ndarray | None]
    places: Sequence[tuple[np.ndarray, np.ndarray] | None]
    held: Sequence[Held]
    movements: Sequence[tuple[int, float, float]]
    g: float
    earth: EarthField | None
    field_norm: np.ndarray
    weights: Weights
    measured_lengths: Sequence[bool] = ()

    @property
    def measured(self) -> np.ndarray:
        """(U,) bool, units that carry any sensor."""
        return np.any([*self.signals.has.values()], axis=0)

    @cached_property
    def turn_variance(self) -> np.ndarray:
        """(K, U) rad²: noise, scale errors, and free turning wherever no gyroscope watched."""
        w, step = self.weights, self.signals.key_step
        scale = np.sum(np.square(w.gyroscope_scale * log(self.turns.carried[:, -1])), -1)
        variance = (w.gyroscope**2 + self.signals.turn_unknown * w.turning**2) * step + scale
        return np.where(self.measured, variance, np.inf)  # segments without a unit go by their neighbours

    @property
    def levelled(self) -> np.ndarray:
        """(U,) bool, units whose inclination is known without a magnetometer."""
        return self.signals.has["accelerometer"] | self.signals.has["orientation"]

    @property
    def followed(self) -> np.ndarray:
        """(U,) bool, units whose acceleration can be told in the world between keyframes: they feel and turn.

        Without a gyroscope, a joint's forces at both ends would be turned until they agree, at every
        keyframe anew.
        """
        has = self.signals.has
        return has["accelerometer"] & (has["gyroscope"] | has["orientation"])

    @property
    def root(self) -> int:
        """The unit that no tie leads to."""
        children = {tie.child for tie in self.ties}
        return next(u for u in range(len(self.signals.units)) if u not in children)

    @property
    def moving(self) -> np.ndarray:
        """(V,) units whose velocity is an unknown: `swaying`, then `placed`."""
        return np.concatenate([self.swaying, self.placed])

    @property
    def swaying(self) -> np.ndarray:
        """Units of which only the velocity is looked for: one for each group that joints hold together."""
        felt, followed = self.signals.has["accelerometer"], self.followed
        held = {tie.child for tie in self.ties if followed[tie.parent] and followed[tie.child]}
        return np.array([u for u in np.flatnonzero(felt) if u not in held and u not in self.placed], int)

    @cached_property
    def bridges(self) -> tuple[Bridge, ...]:
        """Ways across segments without a unit, between units whose motion can be integrated."""
        return bridges_of(self.ties, self.measured, self.followed)

    @cached_property
    def placed(self) -> np.ndarray:
        """(E,) units whose position is an unknown: the ends of the bridges."""
        ends = [bridge.units[end] for bridge in self.bridges for end in (0, -1)]
        return np.array(sorted(set(ends)), int)

    @cached_property
    def postures(self) -> Postures:
        """What is known beforehand of joints beside segments without a unit."""
        return postures(self)

    @cached_property
    def travels(self) -> Travels:
        """Integrated accelerometers of the units in `placed`."""
        return travels(self.signals, self.turns, self.placed)

    @property
    def centre_sd(self) -> np.ndarray:
        """(U,) m, standard deviation of a joint centre of the body, by the segment in whose frame it lies."""
        measured = self.measured_lengths or [False] * len(self.signals.units)
        return np.where(measured, self.weights.joint_centre_measured, self.weights.joint_centre)

    def alike(self, seconds: float) -> float:
        """Number of keyframes in a correlation time, at least one."""
        return max(1.0, seconds / self.signals.key_step)

    def watched(self, units: Sequence[int]) -> np.ndarray:
        """(K + 1,) bool, keyframes that lie in no long gap of these units; all of them where none is left."""
        lost = self.signals.lost[:, list(units)].any(1)
        out = ~(np.r_[False, lost] & np.r_[lost, False])
        return out if out.any() else ~out

    def both_measured(self, tie: Tie) -> bool:
        """Whether both ends of a tie carry sensors."""
        return bool(self.measured[tie.parent] and self.measured[tie.child])


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

    def stepped(self, step: np.ndarray) -> State:
        """After a step (K + 1, slots, 3)."""
        U, V = self.R.shape[1], self.velocity.shape[1]
        turn, bias, velocity, position = np.split(step, [U, 2 * U, 2 * U + V], axis=1)
        return State(exp(turn) @ self.R, self.bias + bias, self.velocity + velocity, self.position + position)
