"""What is given, what is looked for, and what stays the same during a capture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ...alignment.mounting import Held
from ...body.anatomy import FEET, HIPS, KNEES
from ...body.usual_postures import UsualPosture
from ...core.rotations import log
from ...recording.earth_field import EarthField
from ...recording.preintegration import CHUNK, Travels, Turns, travels
from ...recording.signals import Signals
from ...weights import Weights
from .posture_prior import Postures, postures
from .tie import Tie
from .unmeasured_chains import Bridge, bridges_of

DETERMINED = np.radians(10.0)  # standard deviation above which an axis counts as unknown; chosen; not tried

# what `Problem` finds out of units and joints once, however long the capture
OF_THE_BODY = ("measured", "posed", "swaying", "bridges", "placed", "postures", "soles", "thighs")


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
    usual_postures : joint -> where people's usually is
    measured_lengths : per unit, whether the length of its segment was measured; empty: of none
    missed : unit -> m/s² that its accelerometer may be off by, beyond what calibrated ones are
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
    usual_postures: Mapping[str, UsualPosture] = field(default_factory=dict)
    missed: Mapping[str, float] = field(default_factory=dict)

    def piece(self, start: int, end: int) -> Problem:
        """The same at the keyframes start ≤ k < end; what is found out once is handed on."""
        out = replace(self, signals=self.signals.piece(start, end), turns=self.turns.piece(start, end))
        vars(out).update({name: getattr(self, name) for name in OF_THE_BODY})
        vars(out)["turn_variance"] = self.turn_variance[start : end - 1]
        vars(out)["travels"] = self.travels.piece(start, end)
        return out

    @cached_property
    def measured(self) -> np.ndarray:
        """(U,) bool, units that carry any sensor."""
        return np.any([*self.signals.has.values()], axis=0)

    @cached_property
    def turn_variance(self) -> np.ndarray:
        """(K, U) rad²: noise, scale errors, and free turning wherever no gyroscope watched."""
        w, step = self.weights, np.diff(self.signals.key_time)[:, None]
        pieces = (self.turns.whole[k : k + CHUNK] for k in range(0, len(step), CHUNK))
        scale = np.concatenate([np.sum(np.square(w.gyroscope_scale * log(turn)), -1) for turn in pieces])
        variance = (w.gyroscope**2 + self.signals.turn_unknown * w.turning**2) * step + scale
        return np.where(self.measured, variance, np.inf)  # segments without a unit go by their neighbours

    @property
    def accelerometer_constant(self) -> np.ndarray:
        """(U,) m/s², constant error that each accelerometer may have."""
        beyond = [self.missed.get(name, 0.0) for name in self.signals.units]
        return np.hypot(self.weights.accelerometer_constant, beyond)

    @property
    def levelled(self) -> np.ndarray:
        """(U,) bool, units whose inclination is known without a magnetometer."""
        return self.signals.has["accelerometer"] | self.signals.has["orientation"]

    @property
    def unlevelled(self) -> np.ndarray:
        """(U,) bool, units that carry sensors and whose rotations start from anywhere.

        A gyroscope carries a rotation on from where it was. Where that is, gravity tells, or a declared pose
        if it is known how the unit sits: R = S M. Without either a turn of the unit against the world, and
        with it the axes about which it turns, stay open by far more than a linear spread tells.
        """
        return self.measured & ~self.levelled & ~(self.stated & bool(self.held))

    @property
    def stated(self) -> np.ndarray:
        """(U,) bool, units with a stated mounting."""
        return np.array([given is not None for given in self.given_mounting], bool)

    @property
    def unposed(self) -> np.ndarray:
        """(U,) bool, units without a stated mounting that were not there in any pose that others held."""
        time, lost = self.signals.key_time, np.ones(len(self.signals.units), bool)
        for pose in self.held:
            inside = pose.holds(time)
            lost &= [not self.watched((u,))[inside].any() for u in range(len(lost))]
        return self.measured & lost & ~self.stated & bool(self.held)

    @cached_property
    def posed(self) -> np.ndarray:
        """(U,) bool, units of whose segments a declared pose tells how they stood: all that were there."""
        return bool(self.held) & ~self.unposed

    def in_pose(self, around: float = 0.0) -> np.ndarray:
        """(K + 1,) bool, keyframes in a declared pose, or so many seconds before or after."""
        inside = [pose.holds(self.signals.key_time, around) for pose in self.held]
        return np.any([np.zeros(len(self.signals.key_time), bool), *inside], axis=0)

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

    @cached_property
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
        return postures(self.ties, self.measured, self.weights, self.usual_postures)

    @cached_property
    def soles(self) -> np.ndarray:
        """(F, 3) joint, calf, foot: feet without a unit whose calf has one, where usual postures count."""
        found = [
            (i, tie.parent, tie.child)
            for i, tie in enumerate(self.ties)
            if tie.joint.child in FEET
            and tie.joint.name in self.usual_postures
            and not self.measured[tie.child]
            and self.followed[tie.parent]
        ]
        return np.array(found, int).reshape(-1, 3)

    @cached_property
    def thighs(self) -> list[tuple[int, int]]:
        """Hip and knee in `postures` of each thigh without a unit between pelvis and calf with one."""
        at = {self.ties[i].joint.name: n for n, i in enumerate(self.postures.ties)}
        pairs = [(at[hip], at[knee]) for hip, knee in zip(HIPS, KNEES, strict=True) if {hip, knee} <= {*at}]
        ends, followed = self.postures.ends, self.followed
        return [(hip, knee) for hip, knee in pairs if followed[ends[hip, 0]] and followed[ends[knee, 1]]]

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
        lost = np.any(self.signals.lost[:, list(units)], axis=1)
        out = ~(np.r_[lost[:1], lost] & np.r_[lost, lost[-1:]])
        return out if out.any() else ~out

    def both_measured(self, tie: Tie) -> bool:
        """Whether both ends of a tie carry sensors."""
        return bool(self.measured[tie.parent] and self.measured[tie.child])


def judged(problem: Problem) -> np.ndarray:
    """Units whose heading gyroscopes and joints show too, so that their field is judged before it counts.

    Parameters
    ----------
    problem : what is given

    Returns
    -------
    (U,) bool
    """
    has, out = problem.signals.has, np.zeros(len(problem.signals.units), bool)
    full = has["accelerometer"] & has["gyroscope"]
    for tie in problem.ties:
        if full[tie.parent] and full[tie.child]:
            out[[tie.parent, tie.child]] = True
    return out & has["magnetometer"]
