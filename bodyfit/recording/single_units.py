"""Each unit by itself on one clock: what checks between units start from, before any fit."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import convolve1d

from ..core.arrays.scratch import give_back, let_go, room, rows_at_once
from ..core.rotations import apply
from .attitude import filtered
from .capture import Unit
from .keyframe_averages import HALF_WINDOW_S
from .preintegration import lever_matrix
from .resampling import common_signals
from .signals import Signals


@dataclass(frozen=True, eq=False)
class Unaided:
    """Units that carry accelerometer and gyroscope, each solved by itself, at N samples of about 40 Hz.

    Attributes
    ----------
    signals : what it was made from
    time : (N,) s; step : s between samples
    units : names, in the order of the unit axis
    R : (N, U, 3, 3) world_from_unit; inclinations are right, each unit's heading is its own and drifts
    force : (N, U, 3) m/s², specific force in the world frame, low-passed as in `averages`
    lever : (N, U, 3, 3) 1/s², likewise: the force at lever arm r is force + lever r
    known : (N, U) bool, accelerometer and gyroscope were sampled
    """

    signals: Signals
    time: np.ndarray
    step: float
    units: tuple[str, ...]
    R: np.ndarray
    force: np.ndarray
    lever: np.ndarray
    known: np.ndarray

    def let_go(self) -> None:
        """Takes what is on the disk out of memory until it is next read."""
        self.signals.let_go()
        let_go(self.R, self.force, self.lever)

    def between(self, start: float, end: float) -> Unaided:
        """Only what happened in start ≤ time ≤ end (s); of `signals` only angular rates are cut."""
        at = (self.time >= start) & (self.time <= end)
        cut = {name: getattr(self, name)[at] for name in ("time", "R", "force", "lever", "known")}
        rate = dataclasses.replace(self.signals, rate=self.signals.rate[: len(at)][at])
        return dataclasses.replace(self, signals=rate, **cut)


def _averaged(
    window: np.ndarray, R: np.ndarray, felt: np.ndarray, rate: np.ndarray, change: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Force (n, 3) and lever matrices (n, 3, 3) in the world frame, low-passed; what surrounds n is held."""
    force, lever = apply(R, felt), R @ lever_matrix(rate, change)
    return tuple(convolve1d(values, window, axis=0, mode="nearest") for values in (force, lever))  # type: ignore[return-value]


def unaided(units: Sequence[Unit]) -> Unaided:
    """Each unit by itself.

    Parameters
    ----------
    units : each with accelerometer and gyroscope

    Returns
    -------
    Unaided

    Raises
    ------
    CannotReconstructError, InputError
        As `common_signals`.
    """
    signals = common_signals(units, units)
    step = signals.step * signals.stride
    half = max(1, round(HALF_WINDOW_S / step))
    window = 0.5 + 0.5 * np.cos(np.pi * np.arange(-half + 1, half) / half)
    window /= window.sum()

    N, U = len(signals.specific_force), len(units)
    R, force, lever = (np.moveaxis(room((U, N, *of)), 0, 1) for of in ((3, 3), (3,), (3, 3)))
    for u in range(U):  # a unit's own lie side by side: it is read alone
        own = signals.of_unit(u)
        R[:, u] = filtered(own)
        for at in rows_at_once(N):
            near = slice(max(0, at.start - half), min(N, at.stop + half))
            inside = slice(at.start - near.start, at.stop - near.start)
            turned = R[near, u], own.specific_force[near, 0], own.rate[near, 0], own.rate_derivative[near, 0]
            force[at, u], lever[at, u] = (values[inside] for values in _averaged(window, *turned))
            let_go(R, force, lever)
        give_back()
    return Unaided(
        signals,
        signals.pauses.true(signals.time[0] + step * np.arange(N)),
        step,
        signals.units,
        R,
        force,
        lever,
        signals.known["accelerometer"] & signals.known["gyroscope"],
    )
