"""Stamps whose span their samples can't fill: one stray stamp, or a pause that dwarfs the recording."""

from __future__ import annotations

import numpy as np

from ..errors import InputError

MOST_EMPTY = 20.0  # span over samples × usual step; tried: below 1.1 on real recordings and demos
SHORT_S = 600.0  # a span that short costs nothing, however empty (by reasoning)
MOST_FRAMES = 50_000_000  # over 13 h at 1 kHz, beyond what fits into memory (by reasoning)


def check_span(name: str, time: np.ndarray) -> None:
    """Refuses stamps that would ask for a time line far longer than the samples fill.

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
    frames = span / usual if usual > 0 else np.inf
    if frames <= MOST_FRAMES and (span <= SHORT_S or frames <= MOST_EMPTY * len(time)):
        return
    row = int(np.argmax(steps))
    a, b = time[row], time[row + 1]
    raise InputError(
        f"units.{name}: {len(time)} samples, usually {usual:.3g} s apart, span {span:.6g} s; between samples "
        f"{row + 1} ({a:.6f} s) and {row + 2} ({b:.6f} s) lie {steps[row]:.6g} s; expected at most "
        f"{MOST_EMPTY:.0f} times what the samples fill, and {MOST_FRAMES:.0e} steps. Correct or remove the "
        "stray stamp, or cut the table at the pause and fit its parts one by one"
    )
