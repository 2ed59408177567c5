"""The gyroscope between keyframes: preintegrated turns, rotations in between, lever matrices."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..core.arrays.scratch import let_go, room
from ..core.rotations import apply, exp, log, skew
from .signals import Signals

CHUNK = 600  # keyframe intervals worked on at once, to bound memory; chosen; not tried


@dataclass(frozen=True, eq=False)
class Turns:
    """The gyroscope integrated between keyframes (preintegration, Forster et al. 2017, TRO 33:1).

    Attributes
    ----------
    carried : (K, per_key + 1, U, 3, 3) rotation from each keyframe to the samples that follow it, the
        last being the next keyframe
    by_bias : (K, U, 3, 3) s, how the rotation vector to the next keyframe changes with the bias (to first
        order): carried[-1] ← carried[-1] Exp(by_bias b)
    """

    carried: np.ndarray
    by_bias: np.ndarray

    def let_go(self) -> None:
        """Takes what is on the disk out of memory until it is next read."""
        let_go(self.carried, self.by_bias, self.whole)

    def piece(self, start: int, end: int) -> Turns:
        """The same between the keyframes start ≤ k < end."""
        out = Turns(self.carried[start : end - 1], self.by_bias[start : end - 1])
        vars(out)["whole"] = self.whole[start : end - 1]
        return out

    @cached_property
    def whole(self) -> np.ndarray:
        """(K, U, 3, 3) turn from each keyframe to the next."""
        K, _, *rest = self.carried.shape
        out = room((K, *rest))
        for start in range(0, K, CHUNK):
            at = slice(start, start + CHUNK)
            out[at] = self.carried[at, -1]
            let_go(self.carried, out)
        return out


def preintegrate(signals: Signals) -> Turns:
    """Turns between keyframes from the turns between frames.

    Parameters
    ----------
    signals : on one clock

    Returns
    -------
    Turns
    """
    K, U = signals.turn_unknown.shape
    per_interval = signals.turns.reshape(K, -1, U, 3)
    carried, by_bias = room((K, signals.per_key + 1, U, 3, 3)), room((K, U, 3, 3))
    for start in range(0, K, CHUNK):
        at = slice(start, start + CHUNK)
        by_bias[at] = _integrated(per_interval[at], signals.stride, signals.step, carried[at])
        let_go(signals.turns, carried, by_bias)
    return Turns(carried, by_bias)


def _integrated(turns: np.ndarray, stride: int, step: float, carried: np.ndarray) -> np.ndarray:
    """(k, U, 3, 3) s, `Turns.by_bias` of the turns (k, frames, U, 3) in some intervals; fills `carried`."""
    current = np.broadcast_to(np.eye(3), (len(turns), turns.shape[2], 3, 3))
    carried[:, 0], total = current, np.zeros(current.shape)
    for frame in range(turns.shape[1]):  # over the few frames of an interval, many intervals at once
        current = current @ exp(turns[:, frame])
        total += current
        if (frame + 1) % stride == 0:
            carried[:, (frame + 1) // stride] = current
    return -step * np.swapaxes(current, -1, -2) @ total


@dataclass(frozen=True, eq=False)
class Travels:
    """The accelerometer integrated between keyframes, in the unit frame at the keyframe before.

    Attributes
    ----------
    gain : (K, E, 3) m/s, ∫ D f dt, D the turn since the keyframe
    way : (K, E, 3) m, the same integrated once more
    known : (K, E) bool, intervals in which it was measured throughout
    """

    gain: np.ndarray
    way: np.ndarray
    known: np.ndarray

    def piece(self, start: int, end: int) -> Travels:
        """The same between the keyframes start ≤ k < end."""
        return Travels(*(values[start : end - 1] for values in (self.gain, self.way, self.known)))


def travels(signals: Signals, turns: Turns, units: np.ndarray) -> Travels:
    """Accelerometers of some units between keyframes.

    Parameters
    ----------
    signals, turns : of all units
    units : (E,)

    Returns
    -------
    Travels, by the trapezoidal rule
    """
    q, step = signals.per_key, signals.step * signals.stride
    at = np.arange(signals.intervals)[:, None] * q + np.arange(q + 1)
    felt = apply(turns.carried[:, :, units], signals.specific_force[:, units][at])
    once = np.full(q + 1, step)
    once[[0, -1]] = 0.5 * step
    twice = once * step * np.arange(q, -1, -1)
    known = signals.known["accelerometer"][:, units][at].all(1) & ~signals.lost[:, units]
    return Travels(np.einsum("j,kjei->kei", once, felt), np.einsum("j,kjei->kei", twice, felt), known)


def between_keyframes(R: np.ndarray, carried: np.ndarray) -> np.ndarray:
    """Rotations at the steps between keyframes: the gyroscope's turn, bent to meet both ends.

    Parameters
    ----------
    R : (K + 1, U, 3, 3) world_from_unit at keyframes
    carried : (K, J + 1, U, 3, 3) turns from each keyframe to its J steps

    Returns
    -------
    (K·J + 1, U, 3, 3) world_from_unit at every step

    Notes
    -----
    R_j = R_k Exp((j/J) D_J e) D_j, e = Log(D_Jᵀ R_kᵀ R_{k+1}): what the turn misses at the far end is spread
    evenly over the interval.
    """
    J = carried.shape[1] - 1
    D, last = carried[:, :J], carried[:, J]
    miss = log(np.swapaxes(R[:-1] @ last, -1, -2) @ R[1:])
    share = (np.arange(J) / J)[None, :, None, None]
    out = np.empty((len(D) * J + 1, *R.shape[1:]))
    bent = exp(share * apply(last, miss)[:, None])
    np.matmul(R[:-1, None] @ bent, D, out=out[:-1].reshape(D.shape))
    out[-1] = R[-1]
    return out


def lever_matrix(rate: np.ndarray, rate_derivative: np.ndarray) -> np.ndarray:
    """K with specific force at lever arm r: f + K r, K = [α]× + [ω]×[ω]×.

    Parameters
    ----------
    rate, rate_derivative : (..., 3) rad/s, rad/s², unit frame

    Returns
    -------
    (..., 3, 3) array, 1/s²
    """
    out = skew(rate_derivative)
    out += rate[..., :, None] * rate[..., None, :]  # [ω]×[ω]× = ω ωᵀ − |ω|² I
    square = np.einsum("...i,...i->...", rate, rate)
    for i in range(3):
        out[..., i, i] -= square
    return out
