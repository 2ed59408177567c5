"""Counting without an example: the stretch that, repeated, explains most of what moves in a recording.

Periods come from the autocorrelation of all channels summed; for each, a few stretches of about that length
between moments of little movement serve as templates; the shortest period whose finds explain nearly as much
as the best is kept. What share is explained says how far the count can be trusted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from scipy.signal import butter, find_peaks, sosfiltfilt

from ...core.findings import Finding
from .choice import Match
from .search import LIMIT, Movement, Template, search
from .stream import Stream
from .warping import spread

BAND_HZ = (0.08, 3.0)  # of what moves (tried: a few, on reps_wrist_watch and reps_barbell_wrist)
PERIOD_S = (0.7, 8.0)  # shortest and longest repetition looked for (tried: as BAND_HZ)
PEAKS, PEAK_SHARE = 3, 0.3  # periods tried; height of their peaks against the highest (tried: as BAND_HZ)
TRIES = 5  # stretches tried as templates of each period (tried: as BAND_HZ)
LENGTHS = (0.75, 1.35)  # of a stretch, in periods (tried: as BAND_HZ)
NEARLY = 0.85  # share of the best explanation from which a shorter period is preferred (tried: as BAND_HZ)
PAD_S = 0.6  # s of stillness put before and after (tried: as BAND_HZ)
LIVELY = 0.2  # a template moves at least that share of the mean (tried: as BAND_HZ)
STILL, CUT = (
    0.15,
    0.3,
)  # of the median repetition's movement: rest; what an uncounted one has at least (tried: as BAND_HZ)
MISSED = (
    4.0  # repetitions in a row that may be missed; more is something else (tried: 2.5 to none, on the same)
)
# Explained share below which a count is not sure (tried: 0.2 to 0.55, on reps_wrist_watch and barbell: those
# above are within one of the plan in 95 %, and 3 of the 5 barbell sets counted wrongly lie below)
SURE_SHARE = 0.5


@dataclass(frozen=True, eq=False)
class Counted:
    """What repeats most in a recording.

    Attributes
    ----------
    count : how often, with what the ends cut and what was missed between; 0: nothing repeats
    found : matches
    explained : share of what moves that they account for, 0 to 1
    channels : (n, c) in which it was looked for
    templates : what repeats; empty where nothing does
    findings : "repetitions-unsure" (little is explained, or a longer period explains more),
        "repetitions-none-counted"
    """

    count: int
    found: tuple[Match, ...]
    explained: float
    channels: np.ndarray
    templates: tuple[Template, ...] = ()
    findings: tuple[Finding, ...] = field(default=())


@dataclass(frozen=True, eq=False)
class _Trial:
    share: float
    period: int
    template: Template
    found: list[Match]


def count_without_example(stream: Stream) -> Counted:
    """What repeats most in a stream, and how often.

    Parameters
    ----------
    stream : of a recording

    Returns
    -------
    Counted
    """
    Z = _channels(stream)
    pad = round(PAD_S / stream.step)
    padded = np.pad(Z, ((pad, pad), (0, 0)))
    trials = [
        best
        for period in _periods(Z, stream.step)
        if (best := max(_trials(padded, period, stream.step), key=lambda t: t.share, default=None))
    ]
    if not trials:
        return Counted(0, (), 0.0, Z, (), (_nothing(),))
    best = max(trials, key=lambda t: t.share)
    kept = min((t for t in trials if t.share > NEARLY * best.share), key=lambda t: t.period)
    if len(kept.found) < 2:
        return Counted(0, (), kept.share, Z, (), (_nothing(),))
    count, other = (_count(padded, trial, stream.step) for trial in (kept, best))
    told = []
    if kept.share < SURE_SHARE:
        told.append(_unsure(count, kept.share))
    elif abs(other - count) > 1:
        told.append(_two_answers(count, other, best.period * stream.step))
    found = tuple(_moved(match, pad, len(Z)) for match in kept.found)
    return Counted(count, found, kept.share, Z, (kept.template,), tuple(told))


def _count(Z: np.ndarray, trial: _Trial, step: float) -> int:
    """Finds, and those that are likely beside and between."""
    return len(trial.found) + (_uncounted(Z, trial.found, step) if len(trial.found) > 1 else 0)


def _channels(stream: Stream) -> np.ndarray:
    """(n, c) vectors within the band, each kind to a root mean square of one."""
    nyquist = 0.45 / stream.step
    sections = butter(2, [BAND_HZ[0], min(BAND_HZ[1], nyquist)], "band", fs=1 / stream.step, output="sos")
    pad = min(len(stream.time) - 1, round(6 / stream.step))
    parts = []
    for block in stream.blocks:
        moving = sosfiltfilt(sections, block.values, axis=0, padlen=pad).reshape(len(stream.time), -1)
        parts.append(moving / max(np.sqrt((moving**2).sum(1).mean()), 1e-9))
    return np.concatenate(parts, 1)


def _periods(Z: np.ndarray, step: float) -> list[int]:
    """Samples of up to three periods: the highest peaks of the autocorrelation, summed over channels."""
    n = len(Z)
    r = np.fft.irfft((np.abs(np.fft.rfft(Z, 2 * n, axis=0)) ** 2).sum(1))[: int(0.6 * n)]
    if len(r) < 3 or r[0] <= 0:
        return []
    r = r / r[0] * n / np.arange(n, n - len(r), -1)
    peaks = find_peaks(r)[0]
    peaks = peaks[(peaks > PERIOD_S[0] / step) & (peaks < PERIOD_S[1] / step)]
    if not len(peaks):
        return []
    peaks = peaks[r[peaks] > PEAK_SHARE * r[peaks].max()]
    return sorted(int(lag) for lag in peaks[np.argsort(-r[peaks])][:PEAKS])


def _trials(Z: np.ndarray, period: int, step: float) -> Iterator[_Trial]:
    """Searches with stretches of about one period as templates."""
    energy = (Z**2).sum(1)
    for first, last in _stretches(energy, period, step):
        if spread(Z[first:last]) <= LIVELY * energy.mean():
            continue
        template = Template(Z[first:last])
        found = search([Movement(Z, (template,))])
        told = sum((LIMIT - m.score) * energy[m.first : m.last].sum() for m in found)
        yield _Trial(float(told / (LIMIT * energy.sum())), period, template, found)


def _stretches(energy: np.ndarray, period: int, step: float) -> list[tuple[int, int]]:
    """A few stretches between moments of little movement, evenly chosen over the recording."""
    cutoff = min(2.0, 1.5 / (period * step), 0.45 / step)
    smooth = sosfiltfilt(butter(2, cutoff, fs=1 / step, output="sos"), energy)
    low = np.flatnonzero((smooth[1:-1] <= smooth[:-2]) & (smooth[1:-1] < smooth[2:])) + 1
    if len(low) > 6:
        low = low[smooth[low] < 0.8 * np.median(smooth)]
    length = low[None, :] - low[:, None]
    pairs = np.argwhere((length >= LENGTHS[0] * period) & (length <= LENGTHS[1] * period))
    if not len(pairs):
        return []
    kept = np.unique(np.linspace(0, len(pairs) - 1, TRIES).round().astype(int))
    return [(int(low[a]), int(low[b])) for a, b in pairs[kept]]


def _uncounted(Z: np.ndarray, found: list[Match], step: float) -> int:
    """Repetitions that the ends of the recording cut, and that were missed between found ones."""
    energy = (Z**2).sum(1)
    usual = float(np.median([m.length for m in found]))
    effort = float(np.median([energy[m.first : m.last].mean() for m in found]))
    window = max(1, round(0.4 / step))
    moving = np.flatnonzero(np.convolve(energy, np.ones(window) / window, "same") > STILL * effort)
    if not len(moving):
        return 0

    def lively(first: int, last: int) -> bool:
        near = 0 < last - first <= MISSED * usual
        return near and float(energy[first:last].mean()) > CUT * effort

    first, last = found[0].first, found[-1].last
    ends = (first - moving[0]) * lively(int(moving[0]), first)
    ends += (moving[-1] - last) * lively(last, int(moving[-1]))
    between = [
        round((after.first - before.last) / usual)
        for before, after in pairwise(found)
        if after.first - before.last > 0.5 * usual and lively(before.last, after.first)
    ]
    return int(sum(between)) + round(float(ends) / usual)


def _moved(match: Match, pad: int, length: int) -> Match:
    """The match without the stillness that was put before."""
    first, last = (int(np.clip(edge - pad, 0, length)) for edge in (match.first, match.last))
    return Match(first, last, match.score, 0, 0, match.gain)


def _unsure(count: int, share: float) -> Finding:
    return Finding(
        "repetitions-unsure",
        "warning",
        f"{count} repetitions were counted without an example; they explain {100 * share:.0f} % of what "
        "moves in the recording",
        "give the start and end of one repetition as an example (like), or cut the recording to the set",
        value=100 * share,
        threshold=100 * SURE_SHARE,
        measure="%",
        source="tried on open sets of reps_wrist_watch and reps_barbell_wrist",
    )


def _two_answers(count: int, other: int, seconds: float) -> Finding:
    return Finding(
        "repetitions-unsure",
        "warning",
        f"{count} repetitions were counted without an example; {other} of {seconds:.1f} s each would explain "
        "as much",
        "give the start and end of one repetition as an example (like)",
        value=float(count),
        threshold=float(other),
        measure="repetitions",
        source="the shortest period that explains 85 % of the best is counted",
    )


def _nothing() -> Finding:
    return Finding(
        "repetitions-none-counted",
        "warning",
        "nothing that repeats was found",
        "give the start and end of one repetition as an example (like)",
        source=f"at least two stretches of {PERIOD_S[0]} to {PERIOD_S[1]} s that resemble each other",
    )
