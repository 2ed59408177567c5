"""Samples of one worn unit on an even clock, gaps bridged, ready for windows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, sosfiltfilt

from ....errors import InputError
from ....recording.capture import Unit

FREQUENCY = 50.0  # Hz; by reasoning: steps hold nothing useful over 20 Hz
CUTOFF = 20.0  # Hz before thinning: common practice, below half of FREQUENCY
LONGEST_GAP_S = 1.0  # s bridged on straight lines: by reasoning, less than any window
LEAST_S = 5.0  # s: by reasoning, two of the longest windows


@dataclass(frozen=True, eq=False)
class Samples:
    """Specific force and angular rate at `FREQUENCY`, unit frame.

    Attributes
    ----------
    time : (N,) s
    force : (N, 3) m/s²
    rate : (N, 3) rad/s, or None: no gyroscope
    known : (N,) bool, False inside gaps that are too long to bridge
    """

    time: np.ndarray
    force: np.ndarray
    rate: np.ndarray | None
    known: np.ndarray


def samples_of(unit: Unit) -> Samples:
    """A unit's samples on an even clock.

    Parameters
    ----------
    unit : with an accelerometer, with or without a gyroscope

    Returns
    -------
    Samples

    Raises
    ------
    InputError
        There is no accelerometer, or less than `LEAST_S` of samples.
    """
    if unit.accelerometer is None:
        raise InputError(f"units.{unit.name}: no accelerometer; activities are told by one, name its columns")
    seen = np.isfinite(unit.accelerometer).all(1)
    if unit.gyroscope is not None:
        seen &= np.isfinite(unit.gyroscope).all(1)
    stamps = unit.time[seen]
    if len(stamps) < 2 or stamps[-1] - stamps[0] < LEAST_S:
        span = f"{stamps[-1] - stamps[0]:.1f}" if len(stamps) else "0"
        raise InputError(
            f"units.{unit.name}: found {span} s of samples, expected at least {LEAST_S:g} s; "
            "give a longer capture"
        )
    time = np.arange(stamps[0], stamps[-1], 1 / FREQUENCY)
    rate = None if unit.gyroscope is None else _even(stamps, unit.gyroscope[seen], time)
    step = np.diff(stamps)[np.clip(np.searchsorted(stamps, time, "right") - 1, 0, len(stamps) - 2)]
    return Samples(time, _even(stamps, unit.accelerometer[seen], time), rate, step <= LONGEST_GAP_S)


def _even(stamps: np.ndarray, values: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Values at even times on straight lines, what is too fast for them taken out first."""
    step = float(np.median(np.diff(stamps)))
    if 1 / step > 1.2 * FREQUENCY:  # an even clock of its own first: the filter wants one
        fine = np.arange(stamps[0], stamps[-1], step)
        values = np.column_stack([np.interp(fine, stamps, column) for column in values.T])
        values = sosfiltfilt(butter(4, CUTOFF, fs=1 / step, output="sos"), values, axis=0)
        stamps = fine
    return np.column_stack([np.interp(time, stamps, column) for column in values.T])
