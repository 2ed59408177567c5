"""Units whose stamps lie seconds apart: the one lag at which both feel one force at their joint."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy import fft  # scipy's takes a fiftieth of a short fit to load

from ...alignment.joint_equations import TURN_BASIS, arms_solved, by_heading, projected
from ...recording.capture import Unit
from ...recording.single_units import unaided
from .pair_offset import HEADING_GRID, JOINT_LEAST, JOINT_SD, LEVER_SD, SEARCHED, STRETCH_S, squared

FARTHEST_S = 30.0  # s, lags that are tried; by reasoning: recorders started by hand one after another
STEP_S = 0.05  # s, from lag to lag; by reasoning: ten to the fastest wave, 2 Hz
NEAR_S = 0.3  # s, lags up to here are found in small; by reasoning: well inside LARGEST_S of pair_offset.py
VALLEY_S = 0.25  # s, within which lags are the same one; by reasoning: half a period of 2 Hz
# disagreement over what is felt up to which two units feel one force, and how many times as much another lag
# must disagree; tried: on 39 captures (four demos, recordings, simulated wearers), docs/clocks_study.py
AGREES, WORSE = 0.4, 1.4
OVERLAP = 0.5  # of the longest common stretch that lags must leave; by reasoning: recorders run together
LEAST_S = 3.0  # s, that two records must share; tried: on cuts of 2 to 8 s of the same captures


@dataclass(frozen=True, eq=False)
class Felt:
    """What a unit felt over all of its own record, by itself.

    Attributes
    ----------
    time : (N,) s
    values : (N, 3, 4) lever matrix | force, as in `Unaided`
    known : (N,) bool
    """

    time: np.ndarray
    values: np.ndarray
    known: np.ndarray

    def at(self, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(n, 3, 4) values at times in s, on straight lines, zero where not known; (n,) 0 or 1, known."""
        k = np.clip(np.searchsorted(self.time, t, side="right") - 1, 0, len(self.time) - 2)
        part = (t - self.time[k]) / (self.time[k + 1] - self.time[k])
        known = (self.known[k] & self.known[k + 1] & (part >= 0) & (part <= 1)).astype(float)
        part = (part * known)[:, None, None]
        between = (1 - part) * self.values[k] + part * self.values[k + 1]
        return between * known[:, None, None], known


def felt_by(unit: Unit) -> Felt:
    """What a unit with accelerometer and gyroscope felt over its own record."""
    one = unaided([unit])
    values = np.concatenate([one.lever[:, 0], one.force[:, 0, :, None]], -1)
    return Felt(one.time, values, one.known[:, 0])


@dataclass(frozen=True)
class FarOffset:
    """How two units' stamps compare over seconds.

    Attributes
    ----------
    agree : the stamps may be right: at some lag near zero both feel one force, and at no other more so
    lag : s, by which the child's stamps are late; None: not told
    others : s, lags that fit nearly as well, where the stamps are certainly apart by one of them
    """

    agree: bool = False
    lag: float | None = None
    others: tuple[float, ...] = ()


def far_offset(parent: Felt, child: Felt) -> FarOffset:
    """By how many seconds a child's stamps are late against its parent's, from their joint.

    Parameters
    ----------
    parent, child : units on both sides of one joint

    Returns
    -------
    FarOffset

    Notes
    -----
    As in `pair_clock`, but every lag up to half a minute is tried, over all of both records: the sums that
    headings and arms ask for are cross-correlations. A lag's disagreement is told as a share of what both
    feel there, so that rest does not look like agreement. One that disagrees clearly less than every other
    valley, and than near zero, is the lag; where several are alike, all that is known is that it is not zero.
    """
    lag = STEP_S * np.arange(-round(FARTHEST_S / STEP_S), round(FARTHEST_S / STEP_S) + 1)
    share = _shares(parent, child, len(lag))
    best, near = int(np.argmin(share)), np.abs(lag) <= NEAR_S
    if share[best] > AGREES:
        return FarOffset()
    if near[best] or share[near].min() < WORSE * share[best]:
        return FarOffset(agree=True)
    valley = np.r_[True, share[1:] <= share[:-1]] & np.r_[share[:-1] <= share[1:], True]
    alike = valley & (np.abs(lag - lag[best]) > VALLEY_S) & (share < WORSE * share[best])
    if alike.any():
        return FarOffset(others=(float(lag[best]), *lag[alike].tolist()))
    return FarOffset(lag=_lowest(lag, share, best))


def _lowest(lag: np.ndarray, share: np.ndarray, best: int) -> float:
    """Lag in s at the bottom of a parabola through the least share and its neighbours."""
    k = min(max(best, 1), len(lag) - 2)
    before, least, after = share[k - 1 : k + 2]
    bend = before - 2 * least + after
    aside = 0.5 * (before - after) / bend if bend > 0 else 0.0
    return float(lag[k] + STEP_S * np.clip(aside, -1.0, 1.0))


def _shares(parent: Felt, child: Felt, lags: int) -> np.ndarray:
    """(lags,) disagreement at each lag as a share of what both feel; 1 where they hardly share any time."""
    count, missed, felt = np.zeros((3, lags))
    for start in _busiest(parent):
        t = start + STEP_S * np.arange(round(STRETCH_S / STEP_S))
        around = t[0] + STEP_S * np.arange(-(lags // 2), len(t) + lags // 2)
        part = _sums(*parent.at(t), *child.at(around))
        count, missed, felt = count + part[0], missed + part[1], felt + part[2]
    enough = count > max(OVERLAP * count.max(), LEAST_S / STEP_S)
    ratio = (missed + JOINT_LEAST**2 * count) / np.maximum(felt, 1e-9)
    return np.where(enough, np.sqrt(np.abs(ratio)), 1.0)


def _busiest(unit: Felt) -> list[float]:
    """Starts in s of the stretches in which a unit moves most."""
    force = unit.values[..., 3]
    moved = np.sum((force - force[unit.known].mean(0)) ** 2, -1) * unit.known if unit.known.any() else 0.0
    starts = np.arange(unit.time[0], max(unit.time[-1] - STRETCH_S, unit.time[0]) + 1e-9, STRETCH_S)
    edges = np.searchsorted(unit.time, [starts, starts + STRETCH_S])
    total = np.r_[0.0, np.cumsum(moved * np.ones(len(unit.time)))]
    gain = total[edges[1]] - total[edges[0]]
    return starts[np.argsort(-gain)[:SEARCHED]].tolist()


def _sums(P: np.ndarray, p: np.ndarray, C: np.ndarray, c: np.ndarray) -> np.ndarray:
    """(3, lags) of one stretch: common samples, least sum of squares, sum of what both feel squared.

    P (n, 3, 4), p (n,) and C (m, 3, 4), c (m,) with m = n + lags − 1.
    """
    size, lags = 2 ** (len(C) - 1).bit_length(), len(C) - len(P) + 1

    def spectrum(x: np.ndarray) -> np.ndarray:
        return fft.rfft(x, size, axis=0)

    def correlated(of_parent: np.ndarray, of_child: np.ndarray) -> np.ndarray:
        return fft.irfft(np.conj(of_parent) * of_child, size, axis=0)[:lags]

    in_P, in_C, in_p, in_c = (spectrum(x) for x in (P, C, p, c))
    cross = [np.einsum("fbj,bc,fcl->fjl", np.conj(in_P), B, in_C, optimize=True) for B in TURN_BASIS]
    pc = np.einsum(
        "hb,bsjl->shjl",
        by_heading(HEADING_GRID),
        fft.irfft(np.stack(cross), size, axis=1)[:, :lags],
    )
    pp = correlated(spectrum(np.swapaxes(P, -1, -2) @ P), in_c[:, None, None])
    cc = correlated(in_p[:, None, None], spectrum(np.swapaxes(C, -1, -2) @ C))
    felt = correlated(spectrum(squared(P, p)), in_c) + correlated(in_p, spectrum(squared(C, c)))
    precision = np.eye(6) * (JOINT_SD / LEVER_SD) ** 2
    H, b, most = projected(pp[:, None], pc, cc[:, None], np.zeros(6), precision)
    missed = np.maximum(most - arms_solved(H, b)[1], 0.0).min(1)
    return np.stack([correlated(in_p, in_c), missed, felt])
