"""Signals of several units on one common time line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..core.arrays.scratch import column, let_go
from .pauses import Pauses


@dataclass(frozen=True, eq=False)
class Signals:
    """Signals of U units on one clock: frames T, samples N, keyframe intervals K, keyframes K + 1.

    Attributes
    ----------
    time : (T,) s, output times; the arrays go on to the end of the last keyframe interval
    step : s between frames
    stride, per_key : frames per sample, samples per keyframe interval
    units : names, in the order of the unit axis
    turns : (K·stride·per_key, U, 3) rad, rotation vector from each frame to the next, unit frame
    rate, rate_derivative : (N, U, 3) rad/s, rad/s²
    specific_force : (N, U, 3) m/s²
    field : (N, U, 3) magnetometer, length of each unit's median about one
    attitude : (N, U, 3, 3) world_from_unit as fused on the unit
    known : sensor name -> (N, U) bool
    turn_unknown : (K, U) in [0, 1], how little the turn over each interval is known: 1 without a gyroscope,
        0.1 (gap / 0.25 s)⁴ where samples were interpolated
    rest_rate : (K + 1, U, 3) rad/s, mean rate about each keyframe at which the unit lay still, else NaN
    rest_sd : (K + 1, U) rad/s, of the true rate at these, one keyframe counted like any other
    has : sensor name -> (U,) bool
    lost : (K, U) bool, intervals in which a gap of gyroscope or orientation is too long to be bridged: turns
        are zero and wholly unknown, and the unit's heading afterwards is another
    covered : (T,) bool, output times at which at least one unit was measured
    pauses : in which no unit recorded; little of them is carried, so that times jump there
    first, keyframes_of_all : of a `piece`: the keyframe that it begins at, and how many all signals have;
        `time` and `covered` stay those of all
    """

    time: np.ndarray
    step: float
    stride: int
    per_key: int
    units: tuple[str, ...]
    turns: np.ndarray
    rate: np.ndarray
    rate_derivative: np.ndarray
    specific_force: np.ndarray
    field: np.ndarray
    attitude: np.ndarray | None
    known: Mapping[str, np.ndarray]
    turn_unknown: np.ndarray
    rest_rate: np.ndarray
    rest_sd: np.ndarray
    has: Mapping[str, np.ndarray]
    lost: np.ndarray
    covered: np.ndarray
    pauses: Pauses
    first: int = 0
    keyframes_of_all: int | None = None

    def let_go(self) -> None:
        """Takes samples that are on the disk out of memory until they are next read."""
        let_go(self.turns, self.rate, self.rate_derivative, self.specific_force, self.field, self.attitude)

    def of_unit(self, unit: int) -> Signals:
        """The same of one unit alone, whose samples lie side by side."""
        named = ("turns", "rate", "rate_derivative", "specific_force", "field", "attitude")
        own = {name: column(values, unit) for name in named if (values := getattr(self, name)) is not None}
        here = slice(unit, unit + 1)
        return replace(
            self,
            units=self.units[here],
            **{name: values[:, None] for name, values in own.items()},
            known={name: known[:, here] for name, known in self.known.items()},
            turn_unknown=self.turn_unknown[:, here],
            rest_rate=self.rest_rate[:, here],
            rest_sd=self.rest_sd[:, here],
            has={name: has[here] for name, has in self.has.items()},
            lost=self.lost[:, here],
        )

    def piece(self, start: int, end: int) -> Signals:
        """The same at the keyframes start ≤ k < end, and between them."""
        frames, samples, between = (
            slice(start * n, (end - 1) * n + more)
            for n, more in ((self.stride * self.per_key, 0), (self.per_key, 1), (1, 0))
        )
        attitude = None if self.attitude is None else self.attitude[samples]
        return replace(
            self,
            turns=self.turns[frames],
            rate=self.rate[samples],
            rate_derivative=self.rate_derivative[samples],
            specific_force=self.specific_force[samples],
            field=self.field[samples],
            attitude=attitude,
            known={name: known[samples] for name, known in self.known.items()},
            turn_unknown=self.turn_unknown[between],
            rest_rate=self.rest_rate[start:end],
            rest_sd=self.rest_sd[start:end],
            lost=self.lost[between],
            first=self.first + start,
            keyframes_of_all=self.all_keyframes,
        )

    @property
    def all_keyframes(self) -> int:
        """Number of keyframes, of all signals where these are a piece of them."""
        return self.intervals + 1 if self.keyframes_of_all is None else self.keyframes_of_all

    @property
    def intervals(self) -> int:
        """Number of keyframe intervals, K."""
        return len(self.turn_unknown)

    @property
    def key_step(self) -> float:
        """Seconds between keyframes."""
        return self.step * self.stride * self.per_key

    @property
    def key_time(self) -> np.ndarray:
        """(K + 1,) s, times of the keyframes on the capture's clock."""
        return self._times(np.arange(self.first, self.first + self.intervals + 1))

    @property
    def all_key_time(self) -> np.ndarray:
        """(all keyframes,) s, also those that this is no piece of."""
        return self._times(np.arange(self.all_keyframes))

    def _times(self, keyframes: np.ndarray) -> np.ndarray:
        return self.pauses.true(self.time[0] + self.key_step * keyframes)

    def in_intervals(self, time: np.ndarray) -> np.ndarray:
        """Times (n,) s on the capture's clock, in keyframe intervals from the first keyframe on."""
        return (self.pauses.shortened(time) - self.time[0]) / self.key_step
