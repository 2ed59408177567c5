"""The rate at which a unit sampled: a line through its stamps over sample numbers, coarse stamps or not."""

from __future__ import annotations

import numpy as np

from ..core.robust import SD_BY_MEDIAN, huber

GAP = 2.5  # steps from which nobody counts what is missing; as GAP of recording/sampling.py
ROUNDS = 4  # of reweighting; tried: two do on rounded, dropped and jittering stamps


def usual_step(time: np.ndarray) -> float:
    """Time between samples.

    Parameters
    ----------
    time : (N,) s, increasing, N ≥ 2; samples may be missing

    Returns
    -------
    s

    Notes
    -----
    The median step, which is off by a rounding's share where stamps are whole milliseconds, numbers the
    samples, k, over lost ones too; stretches between gaps of over `GAP` steps each have an offset, a_r. Least
    squares t = a_r + k Δ with Huber's weights.
    """
    steps = np.diff(time)
    step, number = float(np.median(steps)), np.empty(0)
    for _ in range(ROUNDS):
        before, number = number, _numbered(steps, step)
        if np.array_equal(number, before):  # the line through them again
            break
        step = _slope(time, number, step)
    return step


def _numbered(steps: np.ndarray, step: float) -> np.ndarray:
    """(N,) numbers of samples, counted on over lost ones; a gap counts nothing."""
    whole = np.where(steps > GAP * step, 0.0, np.maximum(1.0, np.round(steps / step)))
    return np.concatenate([[0.0], np.cumsum(whole)])


def _slope(time: np.ndarray, number: np.ndarray, step: float) -> float:
    """A better step from the numbers of samples that one gives, outliers taken down."""
    run = np.concatenate([[0], np.cumsum(np.diff(number) == 0)])
    weight = np.ones(len(time))
    out = step
    for _ in range(2):
        k, t = (values - _means(values, run, weight) for values in (number, time))
        if not (power := float(np.sum(weight * k**2))):
            return step
        out = float(np.sum(weight * k * t)) / power
        off = t - out * k
        spread = SD_BY_MEDIAN * float(np.median(np.abs(off)))
        weight = huber(off[:, None], spread) if spread > 0 else weight
    return out if out > 0 else step


def _means(values: np.ndarray, run: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """(N,) weighted mean of the run that each value is in."""
    return (np.bincount(run, weight * values) / np.bincount(run, weight))[run]
