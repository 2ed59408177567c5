"""Rest: when units are held still."""

from __future__ import annotations

import dataclasses

import numpy as np
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from .signals import Signals

# a unit rests while, for so long, the spread of its readings stays below the next two; chosen; not tried
REST_S = 2.0
REST_RATE = np.radians(0.25)  # rad/s; chosen; not tried
REST_FORCE = 0.06  # m/s²; chosen; not tried
REST_SD = np.radians(0.15)  # rad/s, true rate of a unit that rests; tried: on what is not written down
REST_LEVEL = np.radians(1.0)  # rad/s, more is a slow turn rather than a bias
# rad, by which somebody who holds a pose has turned at its end; tried: on what is not written down
HELD_TURN = np.radians(0.5)
HELD_RATE = np.radians(1.5)  # rad/s, spread of the rate of somebody who holds a pose; chosen; not tried


def rest_rate(rate: np.ndarray, force: np.ndarray, step: float, lost: np.ndarray) -> np.ndarray:
    """Mean rate over two seconds in which neither rate nor force changed.

    Parameters
    ----------
    rate : (n, 3) rad/s
    force : (n, 3) m/s²
    step : s, between samples
    lost : (n,) bool, in a long gap

    Returns
    -------
    (n, 3) rad/s, NaN where a unit did not rest
    """
    window = max(3, round(REST_S / step))
    if len(rate) < window:
        return np.full(rate.shape, np.nan)

    def mean(x: np.ndarray) -> np.ndarray:
        return uniform_filter1d(x, window, axis=0, mode="nearest")

    level = mean(rate)
    spread = np.sqrt(np.maximum(mean(rate**2) - level**2, 0.0)).max(1)
    shaken = np.sqrt(np.maximum(mean(force**2) - mean(force) ** 2, 0.0)).max(1)
    still = (spread < REST_RATE) & (shaken < REST_FORCE) & (np.abs(level).max(1) < REST_LEVEL)
    still &= np.asarray(maximum_filter1d(lost, window)) == 0
    return np.where(still[:, None], level, np.nan)


def resting_in(signals: Signals, pose: tuple[float, float]) -> Signals:
    """The same signals, units taken to rest in a pose that is declared still, unless they plainly do not.

    Parameters
    ----------
    signals : on one clock
    pose : start, end in s

    Returns
    -------
    Signals
    """
    key_time = signals.key_time
    inside = (key_time >= pose[0]) & (key_time <= pose[1])
    rate = signals.rate[:: signals.per_key][inside]
    if len(rate) < 2:
        return signals
    calm = (rate.std(0).max(-1) < HELD_RATE) & signals.has["gyroscope"]
    calm &= ~(signals.lost[inside[1:]].any(0) | signals.lost[inside[:-1]].any(0))
    rest_rate, rest_sd = signals.rest_rate.copy(), signals.rest_sd.copy()
    rest_rate[np.ix_(inside, calm)] = rate.mean(0)[calm]
    # a pose gives one mean rate, known to the turn that a person makes while holding it
    rest_sd[np.ix_(inside, calm)] = HELD_TURN / (pose[1] - pose[0]) * np.sqrt(len(rate))
    return dataclasses.replace(signals, rest_rate=rest_rate, rest_sd=rest_sd)
