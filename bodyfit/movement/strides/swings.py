"""Swings of one foot and their events: heel off, toe off, mid-swing, heel strike, foot flat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from .foot_motion import FootMotion

SMOOTH_S = 0.01  # s, of the pitch rate; tried: 5 to 20 ms on open walks with events
# shares of a swing's top speed between which the foot strikes; tried: best of 8 on open walks
LANDING = (0.5, 0.2)
STRIKE = 0.57  # of the time between them, at which it does; tried: median on open walks
LEAVING = 0.3  # share of the ball's top speed at which the toe leaves; tried: best of 8 on open walks
# shares of the fastest roll-off and slap at toe off and heel strike; tried: best of 6 and 8 on open walks
RISEN, FALLEN = 0.75, 0.5
LEAST_PITCH = 1.0  # rad/s below which there is no roll-off or slap to time by (tried: 1 on open walks)
NEAR = 0.25  # of the swing's duration, by which both ways of timing may differ (tried: on open walks)
# m/s, of the ball when the foot is flat (as optical references of open walks define it); by definition of
# those
FLAT_M_S = 0.25
LIFTED = np.radians(
    3.0
)  # rad, by which the foot has tipped at heel off: 1 cm of heel over 20 cm (by reasoning)
# m/s, top speed of a foot below which it turns on the spot or fidgets: 0.1 m in 0.4 s (by reasoning;
# tried: on open walks with turns)
LEAST_TOP = 0.5
# standard deviations in s; tried: spread on hand-checked events of open walks; mid-swing and foot
# flat, optical
SD = {"heel_off": 0.04, "toe_off": 0.01, "mid_swing": 0.01, "heel_strike": 0.011, "foot_flat": 0.011}
# s, of toe off and heel strike that only the speed told, and s/rad by which the foot turns from stance to
# stance (tried: 0.02 to 0.035, 0.007 to 0.012, for 95 % bands, on all steps of open walks with marks)
SD_BY_SPEED, SD_TURNED = 0.03, 0.012
EVENTS = ("heel_off", "toe_off", "mid_swing", "heel_strike", "foot_flat")


@dataclass(frozen=True, eq=False)
class Swings:
    """Swings of one foot in the order of time, n of them.

    Attributes
    ----------
    before, after : (n,) number of the stance before and after
    times, sds : event -> (n,) s; NaN where it did not show
    """

    before: np.ndarray
    after: np.ndarray
    times: dict[str, np.ndarray]
    sds: dict[str, np.ndarray]

    def __len__(self) -> int:
        return len(self.before)


def swings(motion: FootMotion) -> Swings:
    """All swings of a foot that go somewhere.

    Parameters
    ----------
    motion : of the foot

    Returns
    -------
    Swings
    """
    curves = _Curves(motion)
    rows = []
    for number in range(len(motion.stances) - 1):
        row = curves.swing(motion.stances[number, 1], *motion.stances[number + 1, 1:])
        if row is not None:
            rows.append((number, *row))
    table = np.array(rows, float).reshape(-1, 1 + 2 * len(EVENTS))
    times = {event: table[:, 1 + i] for i, event in enumerate(EVENTS)}
    sds = {event: table[:, 1 + len(EVENTS) + i] for i, event in enumerate(EVENTS)}
    before = table[:, 0].astype(int)
    return Swings(before, before + 1, times, sds)


class _Curves:
    """What swings are timed by."""

    def __init__(self, motion: FootMotion):
        self.motion = motion
        self.speed = np.linalg.norm(motion.velocity, axis=1)
        self.ball = motion.speed_of(motion.ball)
        self.tipped = -np.arcsin(np.clip(motion.R[:, 1] @ motion.axes[0], -1, 1))  # rad, toes down
        step = motion.rate_time[1] - motion.rate_time[0]
        self.pitch = gaussian_filter1d(motion.rate @ motion.axes[2], SMOOTH_S / step)

    def swing(self, calm: int, next_calm: int, next_last: int) -> tuple | None:
        """Times and standard deviations of the events between two stances, or None: no swing."""
        t = self.motion.time
        way = (self.motion.place[next_calm] - self.motion.place[calm])[[0, 2]]
        top = calm + int(np.argmax(self.speed[calm:next_calm]))
        if self.speed[top] < LEAST_TOP:
            return None
        ball_top = calm + int(np.argmax(self.ball[calm:next_calm]))
        off = passes(t, self.ball, (calm, ball_top + 1), float(LEAVING * self.ball[ball_top]))
        falls = [passes(t, self.speed, (top, next_calm), share * self.speed[top], True) for share in LANDING]
        strike = falls[0] + STRIKE * (falls[1] - falls[0])
        if not off < strike:
            return None
        near = NEAR * (strike - off)
        rolled = self._pitch_time(off, (1.3 * near, near), RISEN, 1)
        slapped = self._pitch_time(strike, (near, 1.5 * near), FALLEN, -1)
        to = rolled if abs(rolled - off) < near else off
        if np.isnan(slapped):  # a foot that lands flat stands at once: its unit moves on with no slap
            strike = falls[1]
        hs = slapped if abs(slapped - strike) < near else strike
        times = (
            self._heel_off(calm, to),
            to,
            self._half_way(calm, next_calm, way),
            hs,
            self._flat(hs, next_last),
        )
        sds = np.array([SD[event] for event in EVENTS])
        turned = SD_TURNED * float(self.motion.heading[next_calm] - self.motion.heading[calm])
        sds[1] = np.hypot(SD["toe_off"] if to != off else SD_BY_SPEED, turned)
        sds[3] = np.hypot(SD["heel_strike"] if hs != strike else SD_BY_SPEED, turned)
        return *times, *(sds + self._gap(np.array(times)))

    def _pitch_time(self, about: float, reach: tuple[float, float], share: float, way: int) -> float:
        """Time at which the pitch rate reaches a share of its least value about a time; NaN: hardly turns.

        Forwards from that value (`way` 1) or backwards (−1).
        """
        t = self.motion.rate_time
        i, j = np.searchsorted(t, [about - reach[0], about + reach[1]])
        if j - i < 3:
            return np.nan
        least = i + int(np.argmin(self.pitch[i:j]))
        level = share * self.pitch[least]
        if self.pitch[least] > -LEAST_PITCH:
            return np.nan
        far = round(2 * sum(reach) / (t[1] - t[0]))
        among = (least, min(least + far, len(t))) if way > 0 else (max(0, least - far), least + 1)
        return passes(t, self.pitch, among, float(level), last=way < 0)

    def _half_way(self, calm: int, next_calm: int, way: np.ndarray) -> float:
        """Time at which half of the way from stance to stance is done."""
        gone = (self.motion.place[calm:next_calm] - self.motion.place[calm])[:, [0, 2]] @ way
        return passes(self.motion.time[calm:next_calm], gone, (0, len(gone)), float(0.5 * way @ way))

    def _flat(self, strike: float, last: int) -> float:
        """Time at which the ball's speed has fallen after heel strike."""
        t = self.motion.time
        return passes(t, -self.ball, (int(np.searchsorted(t, strike)), last + 1), -FLAT_M_S)

    def _heel_off(self, calm: int, off: float) -> float:
        """Time from which on the foot is tipped onto its ball, before toe off."""
        t = self.motion.time
        i = int(np.searchsorted(t, off))
        flat = np.flatnonzero(self.tipped[calm:i] < self.tipped[calm] + LIFTED)
        return float(t[calm + flat[-1]]) if len(flat) else np.nan

    def _gap(self, times: np.ndarray) -> np.ndarray:
        """(n,) s, standard deviation of times inside a gap: even over it."""
        at = np.clip(np.searchsorted(self.motion.rate_time, times), 0, len(self.motion.gap) - 1)
        return self.motion.gap[at] / np.sqrt(12)


def passes(t: np.ndarray, y: np.ndarray, among: tuple[int, int], level: float, last: bool = False) -> float:
    """Time at which a curve first (or last) lies above a level, between samples; NaN where it never does.

    Parameters
    ----------
    t, y : (n,) times and values
    among : first index and index after the last
    level : of y
    last : when it last lies above, and not first

    Returns
    -------
    s
    """
    above = np.flatnonzero(y[slice(*among)] > level)
    if not len(above):
        return np.nan
    k = among[0] + int(above[-1 if last else 0])
    beside = k + 1 if last else k - 1
    if not 0 <= beside < len(y) or y[beside] > level:
        return float(t[k])
    return float(t[k] + (t[beside] - t[k]) * (y[k] - level) / (y[k] - y[beside]))
