"""Strides from a unit on a calf: when the foot leaves and strikes, by how the calf swings."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

from ...feet.samples import HZ, FootSamples
from .swings import Swings, passes

SMOOTH_S = 0.015  # s, of the calf's swing rate; chosen; not tried
SWING_SMOOTH_S = 0.03  # s, so that one swing has one peak; chosen; not tried
LEAST_SHARE = 0.4  # of the fastest swings' rate (98th percentile) that a swing reaches; chosen; not tried
LEAST_RATE = 1.5  # rad/s below which a calf does not swing for a step (from memory: walking shows 4 to 7)
CLOSEST_S = 0.4  # s from swing to swing; as CLOSEST_S of feet/contact.py
REACH_S = 0.5  # s about a swing's peak in which its foot leaves and strikes (by reasoning: half a stride)
# shares of the backward turn after and before a swing at which the foot strikes and leaves; tried: 0, 0.25,
# 0.5, 0.75, 1 on calves' rates from optical markers of three walkers (foot_optical)
STRUCK, LEFT = 0.25, 0.75
SD_S = 0.02  # s; tried: on these 4 and 10 ms against the middle of two optical methods, doubled


def calf_swings(samples: FootSamples) -> Swings:
    """Swings of a calf with toe off and heel strike of its foot, one after the other.

    Parameters
    ----------
    samples : of the unit, turned anyhow

    Returns
    -------
    Swings, numbered in the order of time; nothing but toe off and heel strike is told

    Notes
    -----
    p the angular rate about the axis that most of the calf's turning is about, positive where it is fastest:
    a swing is a peak of p between two troughs. The foot strikes when p has fallen to a quarter of the trough
    after it, and leaves when p has risen to three quarters of the one before.

    References
    ----------
    Aminian et al. 2002, doi:10.1016/S0021-9290(02)00008-8 (from memory): troughs of the calf's rate. Changed:
    shares of them, which scatter by 4 and 10 ms where the troughs scatter by 19 and 16.
    """
    p = gaussian_filter1d(_about_swing_axis(samples.rate()), SMOOTH_S * HZ)
    least = max(LEAST_RATE, LEAST_SHARE * float(np.percentile(p, 98)))
    slow = gaussian_filter1d(p, SWING_SMOOTH_S * HZ)
    tops, _ = find_peaks(slow, height=least, distance=int(CLOSEST_S * HZ))
    troughs, _ = find_peaks(-p)
    troughs = troughs[p[troughs] < 0]
    t, after = samples.time, np.searchsorted(troughs, tops)
    times = []
    for top, k in zip(tops, after, strict=True):  # over strides
        if 0 < k < len(troughs) and max(troughs[k] - top, top - troughs[k - 1]) < REACH_S * HZ:
            before, behind = troughs[k - 1], troughs[k]
            off = passes(t, p, (before, top), float(LEFT * p[before]))
            times.append((off, passes(t, p, (top, behind + 1), float(STRUCK * p[behind]), last=True)))
    off, strike = np.array(times).reshape(-1, 2).T
    number = np.arange(len(off))
    sds = {
        name: np.hypot(SD_S, samples.gap[np.searchsorted(t, at)] / np.sqrt(12))
        for name, at in (("toe_off", off), ("heel_strike", strike))
    }
    return Swings(number, number + 1, {"toe_off": off, "heel_strike": strike}, sds)


def _about_swing_axis(rate: np.ndarray) -> np.ndarray:
    """(N,) rad/s, about the axis of most turning; its sense by which way the calf turns fastest."""
    off = rate - np.median(rate, axis=0)
    p = off @ np.linalg.eigh(off.T @ off)[1][:, -1]
    return p if np.sum(p**3) > 0 else -p
