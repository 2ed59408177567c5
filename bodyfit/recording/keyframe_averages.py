"""What units feel, in the world frame, averaged about each keyframe."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from ..core.arrays.scratch import give_back, let_go, room
from ..core.gravity import STANDARD_GRAVITY
from ..core.rotations import apply, skew
from .preintegration import CHUNK, Turns, between_keyframes, lever_matrix
from .signals import Signals

# s; passes what limbs do (below 2 Hz), stops what soft tissue rings at (5 to 10 Hz); by reasoning
HALF_WINDOW_S = 0.2
AT_REST = np.array([0.0, STANDARD_GRAVITY, 0.0])  # m/s², stands in where nothing was felt
# share of the window; a mean over less is one of another time than the neighbour's; chosen; not tried
MEASURED = 0.9


@dataclass(frozen=True, eq=False)
class Averages:
    """Averages over 0.2 s before and after each keyframe (Hann window), world frame.

    Averaging in the world frame, after the lever arm, is a low-pass of the true acceleration: the same for
    both ends of a joint, however fast they turn.

    Attributes
    ----------
    force : (K + 1, U, 3) m/s², R f
    lever : (K + 1, U, 3, 3) 1/s², R K: the force at lever arm r is force + lever r
    field : (K + 1, U, 3), R m
    known, field_known : (K + 1, U) bool, nine tenths of the window, or half for the field, was measured
    force_by_latency : (K + 1, U, 3) m/s³, change of force when gyroscopes are read later, or None
    lever_by_latency : (K + 1, U, 3, 3) 1/s³, or None; the same when whole units are read later
    force_by_time : (K + 1, U, 3) m/s³, change of force when whole units are read later, or None
    """

    force: np.ndarray
    lever: np.ndarray
    field: np.ndarray
    known: np.ndarray
    field_known: np.ndarray
    force_by_latency: np.ndarray | None = None
    lever_by_latency: np.ndarray | None = None
    force_by_time: np.ndarray | None = None

    def let_go(self) -> None:
        """Takes what is on the disk out of memory until it is next read."""
        let_go(*vars(self).values())

    def piece(self, start: int, end: int) -> Averages:
        """The same at the keyframes start ≤ k < end."""
        there = {name: values for name, values in vars(self).items() if values is not None}
        return Averages(**{name: values[start:end] for name, values in there.items()})


def averages(signals: Signals, turns: Turns, R: np.ndarray, by_latency: bool = False) -> Averages:
    """Averages with the rotations as they are.

    Parameters
    ----------
    signals : N samples of U units
    turns : between keyframes
    R : (K + 1, U, 3, 3) world_from_unit
    by_latency : derivatives with respect to the gyroscopes' latency, and to the units' clocks, too

    Returns
    -------
    Averages
    """
    whole: dict[str, np.ndarray] = {}
    for start in range(0, signals.intervals, CHUNK):
        part = _part(signals, turns, R, start, min(start + CHUNK, signals.intervals), by_latency)
        for key, values in part.items():
            if key not in whole:
                whole[key] = room((signals.intervals + 1, *values.shape[1:]), values.dtype)
            whole[key][start : start + len(values)] = values
        signals.let_go()
        let_go(turns.carried, R, *whole.values())
    give_back()
    return Averages(**whole)


def _part(signals: Signals, turns: Turns, R: np.ndarray, start: int, end: int, by_latency: bool) -> dict:
    """Averages about the keyframes start … end − 1, and end when it is the last one."""
    q, K = signals.per_key, signals.intervals
    half = max(1, round(HALF_WINDOW_S / (signals.step * signals.stride)))
    halo = -(-half // q)
    a, b = max(0, start - halo), min(K, end + halo)
    at = slice(a * q, b * q + 1)
    X = between_keyframes(R[a : b + 1], turns.carried[a:b])
    window = _window(len(X), q, half, start - a, (end if end < K else K + 1) - start)

    def mean(values: np.ndarray, valid: np.ndarray | None = None) -> np.ndarray:
        if valid is not None and not valid.all():
            weight = window @ valid.astype(float)
            return mean(values * valid[..., None]) / np.maximum(weight, 1e-9)[..., None]
        return (window @ values.reshape(len(values), -1)).reshape(-1, *values.shape[1:])

    f, lever = signals.specific_force[at], X @ lever_matrix(signals.rate[at], signals.rate_derivative[at])
    lost = np.repeat(signals.lost[a:b], q, axis=0)
    lost = np.concatenate([lost, lost[-1:]])  # where nothing turns the readings into the world
    felt, magnetic = (signals.known[s][at] & ~lost for s in ("accelerometer", "magnetometer"))
    force = apply(X, f)
    out = {
        "force": mean(force, felt),
        "lever": mean(lever.reshape(*lost.shape, 9), ~lost).reshape(-1, *lever.shape[1:]),
    }
    share = window @ felt.astype(float)
    unfelt = signals.has["accelerometer"] & (share == 0)
    out["force"] = np.where(unfelt[..., None], AT_REST, out["force"])
    out["field"] = (
        mean(apply(X, signals.field[at]), magnetic)
        if magnetic.any()
        else np.broadcast_to(0.0, out["force"].shape)
    )
    out |= {"known": share > MEASURED, "field_known": mean(magnetic.astype(float)) > 0.5}
    if by_latency:
        out["force_by_latency"] = mean(apply(X @ skew(signals.rate[at]), f), felt)
        step = signals.step * signals.stride
        out["lever_by_latency"] = mean(np.gradient(lever, step, axis=0))
        out["force_by_time"] = mean(np.gradient(force, step, axis=0), felt)
    return out


def _window(samples: int, q: int, half: int, first: int, count: int) -> csr_array:
    """(count, samples) Hann windows about every q-th sample, keyframe `first` onwards; rows sum to 1."""
    offsets = np.arange(-half + 1, half)
    weights = np.broadcast_to(0.5 + 0.5 * np.cos(np.pi * offsets / half), (count, len(offsets)))
    at = (first + np.arange(count))[:, None] * q + offsets
    inside = (at >= 0) & (at < samples)
    norm = np.sum(weights * inside, axis=1, keepdims=True)
    rows = np.broadcast_to(np.arange(count)[:, None], at.shape)
    return csr_array(((weights / norm)[inside], (rows[inside], at[inside])), shape=(count, samples))
