"""Steps from a unit in a pocket or at the waist: how many and when, from the vertical acceleration alone."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

from ...core.intervals import runs
from ...recording.capture import Unit
from ..activities.unit.samples import FREQUENCY, samples_of
from ..activities.unit.upright import up_of
from ..activities.unit.waves import autocorrelation, highest_peak, windows

HALF_S = 2.0  # s; as HALF_S of activities/unit/walking_frame.py
RHYTHM_S = 0.27, 1.6  # s, from a runner's step to a slow walker's stride (from memory)
# of the rhythm's correlation, above which its half is a whole rhythm, too: two strides (tried: on
# activity_pocket_phone joggers have 0.8 to 0.9, walkers' strides under 0.3)
SAME = 0.6
HALVINGS = 2  # from two strides, the longest rhythm of a runner, to a step (by reasoning)
QUARTERS = (0.25, 0.5, 0.75)  # of a lag, by definition
LEAST_REGULAR = 0.4  # autocorrelation of one step or one stride; tried: 0.3 to 0.5 on steps_phone
SWAY = 0.6  # m/s², standard deviation of the vertical acceleration; as SWAY of walking_frame.py
SHARPNESS = 1.6  # the filter's width is the step's over 2 π times this; tried: on steps_phone
LEAST_HEIGHT = 0.2  # of the 90th percentile of a bout, that a step's peak reaches; tried: on steps_phone
CLOSEST = 0.55  # of a step, from one to the next; tried: on steps_phone
SD_S = 0.1  # s; tried: on steps_phone, whose own times are no better


def step_times(unit: Unit) -> list[np.ndarray]:
    """Times of the steps of both feet, bout by bout of regular walking.

    Parameters
    ----------
    unit : with an accelerometer, turned anyhow

    Returns
    -------
    (n,) s of each bout, in the order of time

    Raises
    ------
    InputError
        There is no accelerometer, or too little of it.

    Notes
    -----
    In windows of 4 s the autocorrelation of the vertical acceleration says whether somebody walks or runs,
    and how long a step is; a thigh feels the other foot less, so that the stride may be the clearer rhythm.
    In each bout, steps are the peaks of a difference of two Gaussians that passes that rhythm.
    """
    samples = samples_of(unit)
    vertical = np.sum(samples.force * up_of(samples.force, samples.rate), axis=1)
    half = int(HALF_S * FREQUENCY)
    centres = np.arange(half, len(vertical) - half + 1, int(FREQUENCY / 2))
    if not len(centres):
        return []
    pieces = windows(vertical, centres, half)
    regular, step = _rhythm(autocorrelation(pieces))
    walks = (regular > LEAST_REGULAR) & (pieces.std(1) > SWAY)
    out = []
    for a, b in runs(walks):
        first, last = max(0, centres[a] - half), centres[b - 1] + half
        out.append(samples.time[first + _peaks(vertical[first:last], float(np.median(step[a:b])))])
    return [bout for bout in out if len(bout) > 2]


def _rhythm(correlation: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(W,) how regular each window is, and (W,) s of a step.

    The lag of the highest correlation, halved while the half is more alike than the quarters about it: a step
    is against itself half a step later, a stride has a second step there. Twice only where the halves are
    the same.
    """
    regular, lag = highest_peak(correlation, *(FREQUENCY * s for s in RHYTHM_S))
    rows, alike = np.arange(len(lag)), np.ones(len(lag), bool)
    for _ in range(HALVINGS):
        quarter, half, three = (correlation[rows, np.round(share * lag).astype(int)] for share in QUARTERS)
        again = alike & (2 * half > quarter + three) & (lag > 2 * RHYTHM_S[0] * FREQUENCY)
        lag, alike = np.where(again, lag / 2, lag), again & (half > SAME * regular)
    return regular, lag / FREQUENCY


def _peaks(vertical: np.ndarray, step: float) -> np.ndarray:
    """(n,) samples at which steps of about `step` s are felt."""
    width = step * FREQUENCY / (2 * np.pi * SHARPNESS)
    passed = gaussian_filter1d(vertical, width) - gaussian_filter1d(vertical, 6 * width)
    least = LEAST_HEIGHT * float(np.percentile(np.abs(passed), 90))
    return find_peaks(passed, height=least, distance=max(1, int(CLOSEST * step * FREQUENCY)))[0]
