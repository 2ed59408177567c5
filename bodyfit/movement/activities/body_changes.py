"""Changes of posture of a fitted body: while thighs or trunk turn from one posture to the next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...core.intervals import runs
from .chain.names import CHANGES, MOVING, STILL

TURNING = np.radians(10)  # rad/s, slower is rest (by reasoning: rest sways by some 3 deg/s)
SMOOTH_S, MOST_S, LEAST_S = 0.3, 5.0, 0.4  # s: of the rate; longest and shortest change (by reasoning)
WORDS = {"standing": "stand", "sitting": "sit", "lying": "lie"}


def with_changes(
    time: np.ndarray, names: Sequence[str], code: np.ndarray, angles: Mapping[str, np.ndarray]
) -> np.ndarray:
    """The activities with what lies between two postures named.

    Parameters
    ----------
    time : (T,) s, evenly but for gaps
    names : of activities
    code : (T,) index in names
    angles : "sit": (T,) rad, lean of the thighs; "lie": (T,) rad, tilt of the trunk

    Returns
    -------
    (T,) index in names; a change takes from both postures the time in which thighs (to sit and to get up) or
    trunk (to lie and to get up from it) turn faster than 10 deg/s. What is unknown between two postures while
    they do is part of it: who gets up bends forward first
    """
    step = float(np.median(np.diff(time)))
    size = max(1, round(SMOOTH_S / step))
    fast = {
        kind: np.abs(np.gradient(uniform_filter1d(angle, size), time)) > TURNING
        for kind, angle in angles.items()
    }
    code = _met(names, code, fast)
    out = code.copy()
    for b in (np.flatnonzero(code[1:] != code[:-1]) + 1).tolist():
        change = _change(names[int(code[b - 1])], names[int(code[b])])
        if change is None:
            continue
        first, last = _around(fast[_turns(change)], b, round(MOST_S / step / 2))
        if (last - first) * step >= LEAST_S:
            out[first:last] = names.index(change)
    return out


def _met(names: Sequence[str], code: np.ndarray, fast: Mapping[str, np.ndarray]) -> np.ndarray:
    """The activities where two postures of a change meet in the middle of what is unknown between them."""
    out = code.copy()
    for a, b in runs(code == names.index("unknown")):
        if a == 0 or b == len(code):
            continue
        change = _change(names[int(code[a - 1])], names[int(code[b])])
        if change and fast[_turns(change)][a:b].all():
            out[a:b] = np.where(np.arange(a, b) < (a + b) // 2, code[a - 1], code[b])
    return out


def _turns(change: str) -> str:
    """What turns in a change: the trunk to lie and to get up from it, else the thighs."""
    return "lie" if "lie" in change else "sit"


def _change(before: str, after: str) -> str | None:
    """Name of the change between two activities, or None: there is none."""
    words = [
        WORDS["standing" if name in MOVING else name] for name in (before, after) if name in (*STILL, *MOVING)
    ]
    name = "_to_".join(words)
    return name if name in CHANGES else None


def _around(fast: np.ndarray, at: int, most: int) -> tuple[int, int]:
    """The run of fast samples about a boundary, first and one after last, at most so many to either side."""
    low, high = max(0, at - most), min(len(fast), at + most)
    slow_before, slow_after = np.flatnonzero(~fast[low:at]), np.flatnonzero(~fast[at:high])
    first = low + slow_before[-1] + 1 if len(slow_before) else low
    return int(first), int(at + slow_after[0] if len(slow_after) else high)
