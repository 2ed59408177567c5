"""Pauses in which no unit recorded: nothing is known there, so little of them is carried through a fit."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .capture import Unit, in_turn
from .sampling import BRIDGED_S, GAP

# s of a pause that is carried: three times what is bridged, so that it stays a gap; by reasoning
KEPT_S = 0.75


@dataclass(frozen=True, eq=False)
class Pauses:
    """A time line on which pauses are shortened, and the way back.

    Attributes
    ----------
    start, end : (n,) s, true times of the pauses, in order
    left_out : (n,) s, how much of each is left out, from its middle
    """

    start: np.ndarray
    end: np.ndarray
    left_out: np.ndarray

    @property
    def _knots(self) -> tuple[np.ndarray, np.ndarray]:
        """True and shortened times of both ends of all that is left out."""
        middle = 0.5 * (self.start + self.end)
        true = np.stack([middle - 0.5 * self.left_out, middle + 0.5 * self.left_out], 1).ravel()
        gone = np.cumsum(self.left_out)
        return true, true - np.stack([gone - self.left_out, gone], 1).ravel()

    def shortened(self, time: np.ndarray) -> np.ndarray:
        """Times on the shortened line of true times, s."""
        after = np.searchsorted(self._knots[0][1::2], time, side="left")
        return time - np.r_[0.0, np.cumsum(self.left_out)][after]

    def true(self, time: np.ndarray) -> np.ndarray:
        """True times of those on the shortened line, s; the way back of `shortened`."""
        after = np.searchsorted(self._knots[1][1::2], time, side="right")
        return time + np.r_[0.0, np.cumsum(self.left_out)][after]

    def of(self, unit: Unit) -> Unit:
        """The unit with its stamps on the shortened line, samples inside what is left out taken off."""
        if not len(self.start):
            return unit
        low, high = self._knots[0][::2], self._knots[0][1::2]
        inside = np.searchsorted(low, unit.time, side="right") > np.searchsorted(high, unit.time, side="left")
        kept = {sensor: getattr(unit, sensor)[~inside] for sensor in unit.sensors}
        return dataclasses.replace(unit, time=self.shortened(unit.time[~inside]), **kept)


def pauses_of(units: Iterable[Unit]) -> Pauses:
    """Pauses of a capture that are longer than what is carried of them.

    Parameters
    ----------
    units : all of the capture

    Returns
    -------
    Pauses : what is left out of each is a whole number of steps, so that regular stamps stay so
    """
    units = [unit for unit in units if len(unit.time) > 1]
    if not units:
        return Pauses(*np.zeros((3, 0)))
    step = min(float(np.median(np.diff(unit.time))) for unit in units)
    slowest = max(float(np.median(np.diff(unit.time))) for unit in units)
    kept = KEPT_S * max(1.0, GAP * slowest / BRIDGED_S)
    at = np.unique(np.concatenate([_recorded(unit) for unit in in_turn(units)]))
    long = np.flatnonzero(np.diff(at) > kept + step)
    length = at[long + 1] - at[long]
    return Pauses(at[long], at[long + 1], step * np.floor((length - kept) / step * (1 + 1e-9)))


def _recorded(unit: Unit) -> np.ndarray:
    """Times at which a unit has a value of any sensor."""
    there = np.zeros(len(unit.time), bool)
    for sensor in unit.sensors:
        there |= np.isfinite(getattr(unit, sensor)).all(-1)
    return unit.time[there]
