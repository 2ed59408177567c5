"""Where the field can be trusted: norm and dip are the usual ones, and gyroscopes see it stand still."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import binary_closing

from ...core.intervals import runs
from ...core.rotations import as_complex

LEAST_SHARE = 0.5  # a unit whose field passes the gate less often is not used at all; chosen; not tried
# middle latitudes (World Magnetic Model, WMM); used only where no accelerometer shows the dip
DIP_WITHOUT_PLACE = np.radians(60.0)
# s, within which a gyroscope's bias turns a heading by a degree at most; by reasoning: at 0.5 °/s
TURN_S = 2.0
JOINED_S = 1.0  # s between untrusted stretches that count as one
Stretch = tuple[float, float, str]  # start, end in s, which checks fail


@dataclass(frozen=True, eq=False)
class FieldTrust:
    """Which magnetometer readings count.

    Attributes
    ----------
    trusted : (K + 1, U) bool
    share : (U,) of the keyframes that passed the gate, NaN without a magnetometer
    dip : rad, of the field that was taken for clean
    fails : check -> (K + 1, U) bool, known readings that do not pass it
    level : (K + 1, U) rad, how far a heading by the field may be off, as far as anything else shows it; the
        same throughout a stretch without a long gap
    lasting : (K + 1,) s, over which an error of that level is taken for one
    """

    trusted: np.ndarray
    share: np.ndarray
    dip: float
    fails: Mapping[str, np.ndarray]
    level: np.ndarray
    lasting: np.ndarray

    def without(self, units: np.ndarray) -> FieldTrust:
        """The same with the magnetometers of some units, (U,) bool, left aside."""
        return replace(self, trusted=self.trusted & ~units)

    def piece(self, start: int, end: int) -> FieldTrust:
        """The same at the keyframes start ≤ k < end."""
        return replace(
            self,
            trusted=self.trusted[start:end],
            fails={name: fail[start:end] for name, fail in self.fails.items()},
            level=self.level[start:end],
            lasting=self.lasting[start:end],
        )

    def of(self, units: list[int]) -> FieldTrust:
        """The same of some units only."""
        fails = {name: fail[:, units] for name, fail in self.fails.items()}
        return replace(
            self,
            trusted=self.trusted[:, units],
            share=self.share[units],
            fails=fails,
            level=self.level[:, units],
        )

    @property
    def usual_level(self) -> np.ndarray:
        """(U,) rad, median of the level where the field counts; zero where it does nowhere."""
        levels = zip(self.level.T, self.trusted.T, strict=True)
        return np.array([np.median(one[counts]) if counts.any() else 0.0 for one, counts in levels])

    def spread(self, sd: float, seconds: float) -> tuple[np.ndarray, np.ndarray]:
        """Standard deviation of each unit's field heading, and how long an error stays.

        Parameters
        ----------
        sd, seconds : rad, s: of what comes and goes as one moves past iron

        Returns
        -------
        sd, seconds : (K + 1, U) rad and s, of that or of what stays, whichever leaves less to be known
        """
        both = np.maximum(sd, self.level)
        return both, np.maximum(sd**2 * seconds, self.level**2 * self.lasting[:, None]) / both**2

    def with_level(self, level: np.ndarray, lasting: np.ndarray | float, units: np.ndarray) -> FieldTrust:
        """The same with the level of error, (U,) or (K + 1, U) rad, found for some units, (U,) bool."""
        lasting = np.broadcast_to(lasting, self.lasting.shape)
        return replace(self, level=np.where(units, level, self.level), lasting=lasting)


@dataclass(frozen=True)
class Gates:
    """How far a field may stray and still count as the Earth's.

    Attributes
    ----------
    norm : share of the usual norm
    dip : rad, from the usual dip
    turn : rad, of its heading within `TURN_S`; infinite: not looked at
    """

    norm: float
    dip: float
    turn: float


def dip_of(field: np.ndarray) -> np.ndarray:
    """Angle of the field below the horizon.

    Parameters
    ----------
    field : (..., 3) world frame

    Returns
    -------
    (...) rad
    """
    return np.arctan2(-field[..., 1], np.hypot(field[..., 0], field[..., 2]))


def judge_field(
    field: np.ndarray,
    known: np.ndarray,
    levelled: np.ndarray,
    expected_dip: float,
    step: float,
    gates: Gates,
) -> FieldTrust:
    """Gate on norm, dip, and a heading that stays where gyroscopes say it should.

    Parameters
    ----------
    field : (K + 1, U, 3) world frame (headings need not be right), each unit's usual norm about one
    known : (K + 1, U) bool
    levelled : (U,) bool, units whose inclination is known from an accelerometer
    expected_dip : rad, used where no unit is levelled
    step : s between keyframes
    gates : how far each may stray

    Returns
    -------
    FieldTrust
    """
    there = known.any(0)
    norm, dip = np.linalg.norm(field, axis=-1), dip_of(field)
    seen = known & levelled
    usual_dip = float(np.median(dip[seen])) if seen.any() else expected_dip
    usual_norm = np.array([np.median(n[k]) if k.any() else 1.0 for n, k in zip(norm.T, known.T, strict=True)])
    fails = {
        "norm": known & (np.abs(norm / usual_norm - 1) >= gates.norm),
        "dip": seen & (np.abs(dip - usual_dip) >= gates.dip),
        "turn": seen & (turn_of_field(field, known, step) >= gates.turn),
    }
    passed = known & ~np.any([*fails.values()], axis=0)
    share = np.where(there, passed.sum(0) / np.maximum(known.sum(0), 1), np.nan)
    passed &= np.nan_to_num(share) >= LEAST_SHARE
    return FieldTrust(passed, share, usual_dip, fails, np.zeros(known.shape), np.zeros(len(known)))


def turn_of_field(field: np.ndarray, known: np.ndarray, step: float) -> np.ndarray:
    """How far the heading of the field turns within `TURN_S` about each keyframe.

    Parameters
    ----------
    field : (K + 1, U, 3) world frame, headings from gyroscopes
    known : (K + 1, U) bool
    step : s between keyframes

    Returns
    -------
    (K + 1, U) rad, zero where it is not known

    Notes
    -----
    A gyroscope's bias turns it by a degree in two seconds; iron, or a magnet that is worn, by any amount.
    """
    half = max(1, round(0.5 * TURN_S / step))
    out = np.zeros(field.shape[:2])
    if len(field) <= 2 * half:
        return out
    level = as_complex(field)
    turned = np.abs(np.angle(level[2 * half :] * level[: -2 * half].conj()))
    out[half:-half] = np.where(known[2 * half :] & known[: -2 * half], turned, 0.0)
    return out


def untrusted(trust: FieldTrust, known: np.ndarray, time: np.ndarray) -> list[list[Stretch]]:
    """Stretches in which each unit's field can't be trusted, and why.

    Parameters
    ----------
    trust : of the gate
    known : (K + 1, U) bool, where the magnetometer was read
    time : (K + 1,) s

    Returns
    -------
    per unit: stretches in order of time; neighbours less than `JOINED_S` apart are one
    """
    bad = np.any([*trust.fails.values()], axis=0)
    return [_stretches(u, bad[:, u] & known[:, u], trust, time) for u in range(bad.shape[1])]


def _stretches(unit: int, bad: np.ndarray, trust: FieldTrust, time: np.ndarray) -> list[Stretch]:
    """Stretches of one unit."""
    step = float(time[1] - time[0])
    size = 2 * max(1, round(0.5 * JOINED_S / step)) + 1
    padded = np.pad(bad, size)
    joined = binary_closing(padded, np.ones(size))[size:-size] if bad.any() else bad
    out = []
    for a, b in runs(joined):
        share = {name: float(fail[a:b, unit].mean()) for name, fail in trust.fails.items()}
        why = [name for name, part in share.items() if part > 0.25 * max(share.values())]
        out.append((float(time[a] - step / 2), float(time[b - 1] + step / 2), " and ".join(why)))
    return out
