"""Which column of a table is time, in which unit, and how many samples make a second."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from ...errors import InputError
from ...recording.stamp_rate import usual_step
from ..capture.stamp_checks import REPEATS_ALLOWED
from ..capture.time_stamps import TIME_UNITS, read_stamps
from ..plain.tables import Table
from .column_names import words_of

TIME_NAMES = (
    "t",
    "time",
    "timestamp",
    "timestamps",
    "zeit",
    "zeitstempel",
    "date",
    "datetime",
    "utc",
    "epoch",
)
COUNT_NAMES = (
    "count",
    "counter",
    "sample",
    "samples",
    "index",
    "idx",
    "frame",
    "packet",
    "row",
    "number",
    "nr",
)
UNIT_NAMES = {
    **dict.fromkeys(("s", "sec", "secs", "seconds", "second"), "s"),
    **dict.fromkeys(("ms", "msec", "millis", "milliseconds"), "ms"),
    **dict.fromkeys(("us", "µs", "μs", "usec", "micros", "microseconds"), "us"),
    **dict.fromkeys(("ns", "nsec", "nanos", "nanoseconds"), "ns"),
}
STEP_S = (0.0005, 0.2)  # s between samples that a unit is taken to keep: 5 to 2000 Hz; by reasoning
TOLD_RATE = re.compile(r"(?:sampl|rate|freq|hz)\D{0,40}?(\d+(?:[.,]\d+)?)", re.IGNORECASE)


@dataclass(frozen=True)
class DraftTime:
    """How the rows of a table are timed.

    Attributes
    ----------
    column, unit : as `time` in setup.toml takes them; no column: rows are evenly spaced
    rate : samples a second that has to be declared beside it; None: stamps tell it
    needs_rate : whether `sampling_frequency` must stand
    step : s between rows, or None: not known
    why : what was seen
    """

    column: str | None
    unit: str
    rate: float | None
    needs_rate: bool
    step: float | None
    why: str


def draft_time(table: Table, before: str) -> DraftTime:
    """How a table's rows are timed, by names and steps of its columns, and by the lines before the header.

    Parameters
    ----------
    table : as read
    before : text of the lines before its header
    """
    told = TOLD_RATE.search(before)
    rate = float(told[1].replace(",", ".")) if told else None
    named = sorted(table.names, key=lambda name: not set(words_of(name)) & set(TIME_NAMES))
    for name in named:
        words = words_of(name)
        timed = set(words) & {*TIME_NAMES, *UNIT_NAMES} and not set(words) & set(COUNT_NAMES)
        if timed and (found := _stamped(table, name, words)) is not None:
            return found
    why = f"{rate:g} Hz by the lines before the header" if rate else "nothing tells the rate"
    for name in table.names:
        if (set(words_of(name)) & set(COUNT_NAMES) or not name) and _counts(table, name):
            return DraftTime(name, "samples", rate, True, 1 / rate if rate else None, why)
    return DraftTime(None, "s", rate, True, 1 / rate if rate else None, why)


def _stamped(table: Table, name: str, words: list[str]) -> DraftTime | None:
    """The column as stamps, or None where it can't be."""
    try:
        values = table.numbers(name)
    except InputError:
        return _dated(table, name)
    steps = np.diff(values)
    if not np.isfinite(values).all() or len(steps) == 0 or (steps < 0).any() or not (steps > 0).any():
        return None
    coarse = float(np.mean(steps == 0)) > REPEATS_ALLOWED
    step = (values[-1] - values[0]) / len(steps) if coarse else usual_step(np.unique(values))
    fits = [u for u, a_second in TIME_UNITS.items() if STEP_S[0] <= step / a_second <= STEP_S[1]]
    said = next((UNIT_NAMES[word] for word in reversed(words) if word in UNIT_NAMES), None)
    unit = said if said in fits else next(iter(fits), None)
    if unit is None:
        return None
    rate = TIME_UNITS[unit] / step
    if coarse:  # as the reader refuses
        return DraftTime(
            None, unit, round(rate, 2), True, 1 / rate, f"{name!r} is too coarse; rows by its ends"
        )
    return DraftTime(name, unit, None, False, 1 / rate, f"steps of {step:.4g}, {rate:.4g} Hz")


def _dated(table: Table, name: str) -> DraftTime | None:
    """The column as dates, or None where it can't be."""
    try:
        time = read_stamps(table, name, "iso8601", None, name).time
    except InputError:
        return None
    step = float(time[-1] - time[0]) / max(1, len(time) - 1)
    return DraftTime(name, "iso8601", None, False, step or None, f"dates, {1 / step if step else 0:.4g} Hz")


def _counts(table: Table, name: str) -> bool:
    """Whether a column counts samples."""
    try:
        steps = np.diff(table.numbers(name))
    except InputError:
        return False
    return bool(len(steps)) and float(np.median(steps)) == 1.0 and bool((steps > 0).all())
