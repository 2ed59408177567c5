"""Stamps whose span their samples can't fill: one stray stamp, or a pause that dwarfs the recording."""

from __future__ import annotations

import numpy as np

from ..errors import InputError

MOST_EMPTY = 20.0  # span over samples × usual step; tried: below 1.1 on real recordings and demos
SHORT_S = 600.0  # a span that short costs nothing, however empty (by reasoning)
PAUSE_S = 60.0  # s, from which on a gap may be a pause between parts of a recording; by reasoning
LONGEST_PAUSE_S = (
    86_400.0  # s, a day; by reasoning: beyond it a clock was set, no recorder rests in one table
)
PART_S, PART_SAMPLES = 1.0, 10  # least of a part between pauses; by reasoning: less is a stray stamp
MOST_FRAMES = 50_000_000  # over 13 h at 1 kHz, beyond what fits into memory (by reasoning)


def check_span(name: str, time: np.ndarray) -> None:
    """Refuses stamps that would ask for a time line far longer than the samples fill.

    Pauses of up to a day between parts that are recordings themselves cost nothing (`recording/pauses.py`).

    Parameters
    ----------
    name : of the unit
    time : (N,) s, increasing, N ≥ 2

    Raises
    ------
    InputError
        Names the row after the longest pause, and how long that is.
    """
    if (bad := np.flatnonzero(~np.isfinite(time))).size:
        raise InputError(f"units.{name} time: sample {bad[0] + 1} is {time[bad[0]]}, expected finite seconds")
    steps = np.diff(time)
    span, usual = float(time[-1] - time[0]), float(np.median(steps))
    paused, row = _paused(time)
    filled = span - paused
    frames = filled / usual if usual > 0 else np.inf
    if frames <= MOST_FRAMES and (filled <= SHORT_S or frames <= MOST_EMPTY * len(time)):
        return
    a, b = time[row], time[row + 1]
    raise InputError(
        f"units.{name}: {len(time)} samples, usually {usual:.3g} s apart, span {span:.6g} s; between samples "
        f"{row + 1} ({a:.6f} s) and {row + 2} ({b:.6f} s) lie {steps[row]:.6g} s; expected at most "
        f"{MOST_EMPTY:.0f} times what the samples fill, without pauses of up to a day between parts of "
        f"{PART_S:.0f} s, and {MOST_FRAMES:.0e} steps. Correct or remove that stamp, or cut the table there"
    )


def _paused(time: np.ndarray) -> tuple[float, int]:
    """S in pauses between parts that are recordings, zero where one is none; sample before what is none."""
    steps = np.diff(time)
    pauses, longest = np.flatnonzero(steps > PAUSE_S), int(np.argmax(steps))
    if not pauses.size or steps[longest] > LONGEST_PAUSE_S:
        return 0.0, longest
    first, last = np.r_[0, pauses + 1], np.r_[pauses, len(time) - 1]
    stray = (time[last] - time[first] < PART_S) | (last - first + 1 < PART_SAMPLES)
    if stray.any():
        return 0.0, int(pauses[max(0, int(np.argmax(stray)) - 1)])
    return float(steps[pauses].sum()), longest
