"""Strides of one foot, from heel strike to heel strike, with what each was like."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .foot_motion import FootMotion
from .result import Event, Stride
from .swings import EVENTS, Swings

LONGEST_S = 3.0  # s of a stride, beyond which the walker stood in between (by reasoning: 0.2 m/s over 0.6 m)
TOE_AHEAD_M = 0.03  # m, from ball to the lowest point of the toe; tried: best of 4 on open optical walks
CLEAR_UNTIL = 0.85  # share of the swing after which toes only come down (tried: on open optical walks)


def events_of(motion: FootMotion, found: Swings) -> list[Event]:
    """Events of one foot, those that showed, in the order of time.

    Parameters
    ----------
    motion : of the foot
    found : its swings

    Returns
    -------
    list of Event
    """
    out = [
        Event(float(time), float(sd), motion.side, event)
        for event in EVENTS
        for time, sd in zip(found.times[event], found.sds[event], strict=True)
        if np.isfinite(time)
    ]
    return sorted(out, key=lambda event: event.time)


def strides_of(motion: FootMotion, found: Swings, other: Swings | None) -> list[Stride]:
    """Strides of one foot: two swings one after the other with a stance between them.

    Parameters
    ----------
    motion : of the foot
    found : its swings
    other : those of the other foot, for the time that both stand; None: not known

    Returns
    -------
    list of Stride
    """
    start, end = found.times["heel_strike"][:-1], found.times["heel_strike"][1:]
    whole = (found.after[:-1] == found.before[1:]) & (end - start > 0) & (end - start < LONGEST_S)
    at = np.flatnonzero(whole)
    first, last = motion.stances[found.before[at + 1], 1], motion.stances[found.after[at + 1], 1]
    length, length_sd = motion.lengths(first, last)
    lowest = clearances(motion, found)
    out = []
    for row, i in enumerate(at):
        a, b = float(start[i]), float(end[i])
        off = float(found.times["toe_off"][i + 1])
        out.append(
            Stride(
                side=motion.side,
                start=a,
                foot_flat=_known(found.times["foot_flat"][i]),
                toe_off=off,
                mid_swing=_known(found.times["mid_swing"][i + 1]),
                end=b,
                length=float(length[row]),
                length_sd=_known(length_sd[row]),
                stance_share=(off - a) / (b - a),
                double_support_share=double_support(a, off, b, other),
                toe_clearance=_known(lowest[i + 1]),
                height_change=float(motion.ground[last[row]] - motion.ground[first[row]]),
                turn=float(motion.heading[last[row]] - motion.heading[first[row]]),
            )
        )
    return out


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def double_support(start: float, off: float, end: float, other: Swings | None) -> float | None:
    """Share of a stride in which both feet stand, or None where the other foot did not swing once in it.

    Parameters
    ----------
    start, off, end : s, heel strike, toe off and next heel strike
    other : swings of the other foot; None: not known
    """
    if other is None:
        return None
    offs, strikes = other.times["toe_off"], other.times["heel_strike"]
    inside = (strikes > start) & (strikes < end)
    if inside.sum() != 1:
        return None
    k = int(np.argmax(inside))
    both = max(0.0, offs[k] - start) + max(0.0, off - strikes[k])
    return float(both / (end - start))


def clearances(motion: FootMotion, found: Swings) -> np.ndarray:
    """Lowest height of the toe over the line between its places before and after, once it has risen.

    Parameters
    ----------
    motion : of the foot
    found : its swings

    Returns
    -------
    (n,) m; NaN where the toe never comes down to a lowest point, as in few swings of healthy walkers
    """
    toe = motion.place_of(motion.ball + TOE_AHEAD_M * motion.axes[0])[:, 1]
    out = np.full(len(found), np.nan)
    for i in range(len(found)):
        a, b = motion.stances[found.before[i], 1], motion.stances[found.after[i], 1]
        span = slice(
            *np.searchsorted(motion.time, [found.times["toe_off"][i], found.times["heel_strike"][i]])
        )
        height = toe[span] - np.interp(motion.time[span], motion.time[[a, b]], toe[[a, b]])
        out[i] = _lowest(height)
    return out


def _lowest(height: np.ndarray) -> float:
    """Lowest of a swing's heights (n,) after their first peak, or NaN: they only fall."""
    if len(height) < 8:  # keyframes; no swing is so short (by reasoning)
        return np.nan
    peak = int(np.argmax(height[: len(height) // 2]))
    later = height[peak : int(CLEAR_UNTIL * len(height))]
    k = int(np.argmin(later)) if len(later) else 0
    return float(later[k]) if 0 < k < len(later) - 1 else np.nan


def in_order(strides: Sequence[Stride]) -> tuple[Stride, ...]:
    """Strides of both feet in the order of time.

    Parameters
    ----------
    strides : in any order

    Returns
    -------
    tuple of Stride
    """
    return tuple(sorted(strides, key=lambda stride: (stride.start, stride.side)))
