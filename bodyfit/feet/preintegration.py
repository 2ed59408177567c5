"""Gyroscope and accelerometer between keyframes, and how their integrals change with biases."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np

from ..core.arrays.scratch import let_go, room, rows_at_once
from ..core.rotations import apply, cross, exp
from .samples import PER_KEY, FootSamples


@dataclass(frozen=True, eq=False)
class Between:
    """What happened between keyframes, in the unit frame at the earlier one; K − 1 intervals.

    Attributes
    ----------
    turn : (K − 1, 3, 3) ΔR
    gain : (K − 1, 3) m/s, ∫ ΔR f dt
    way : (K − 1, 3) m, ∬ ΔR f dt²
    gain_by_bias, way_by_bias : (K − 1, 3, 3) s and s², minus their change with the accelerometer's bias
    rate : (K, 3) rad/s at the keyframes, bias taken off
    """

    turn: np.ndarray
    gain: np.ndarray
    way: np.ndarray
    gain_by_bias: np.ndarray
    way_by_bias: np.ndarray
    rate: np.ndarray

    def within(self, intervals: slice) -> Between:
        """Only some intervals, with the rates at all their ends."""
        cut = {f.name: getattr(self, f.name)[intervals] for f in fields(self)}
        return Between(**cut | {"rate": self.rate[intervals.start : intervals.stop + 1]})


def in_stretches(intervals: int, part_of: Callable[[slice], Between]) -> Between:
    """What happened between keyframes, made some intervals at a time.

    Parameters
    ----------
    intervals : K − 1
    part_of : what happened in some of them

    Returns
    -------
    Between
    """
    whole: dict[str, np.ndarray] = {}
    for at in rows_at_once(intervals):
        part = part_of(at)
        if at == slice(0, intervals):
            return part
        for f in fields(part):
            values = getattr(part, f.name)
            if f.name not in whole:
                whole[f.name] = room((intervals + len(values) - (at.stop - at.start), *values.shape[1:]))
            whole[f.name][at.start : at.start + len(values)] = values
        let_go(*whole.values())
    return Between(**whole)


def between_keyframes(samples: FootSamples, force: np.ndarray, rate: np.ndarray) -> Between:
    """Integrals from keyframe to keyframe.

    Parameters
    ----------
    samples : of one unit
    force, rate : (N, 3) m/s² and rad/s, unit frame, biases taken off; of all samples or of some in a row

    Returns
    -------
    Between

    Notes
    -----
    Turns by the Magnus expansion to second order, forces linear between samples in the frame of the keyframe.

    References
    ----------
    Forster et al. 2017, doi:10.1109/TRO.2016.2597321, section VI; Iserles et al. 2000, Acta Numerica 9:215.
    """
    dt, K = samples.step, (len(rate) - 1) // PER_KEY + 1
    small = 0.5 * dt * (rate[:-1] + rate[1:]) + dt**2 / 12 * cross(rate[:-1], rate[1:])
    turns = exp(small).reshape(K - 1, PER_KEY, 3, 3)
    D = [np.broadcast_to(np.eye(3), (K - 1, 3, 3))]
    for j in range(PER_KEY):  # over the few samples of an interval, all intervals at once
        D.append(D[-1] @ turns[:, j])
    at = np.arange(K - 1)[:, None] * PER_KEY + np.arange(PER_KEY + 1)
    felt = [apply(D[j], force[at[:, j]]) for j in range(PER_KEY + 1)]
    gain, way, N, P = (
        np.zeros((K - 1, 3)),
        np.zeros((K - 1, 3)),
        np.zeros((K - 1, 3, 3)),
        np.zeros((K - 1, 3, 3)),
    )
    for j in range(PER_KEY):
        middle = 0.5 * (D[j] + D[j + 1])
        way = way + gain * dt + (2 * felt[j] + felt[j + 1]) * (dt**2 / 6)
        gain = gain + (felt[j] + felt[j + 1]) * (0.5 * dt)
        P = P + N * dt + middle * (0.5 * dt**2)
        N = N + middle * dt
    return Between(D[-1], gain, way, N, P, rate[::PER_KEY])
