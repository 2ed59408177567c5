"""Whether a unit's rows and time stamps can be a recording; each check raises InputError, or is silent."""

from __future__ import annotations

import numpy as np

from ...errors import InputError
from ..plain.tables import Table
from ..plain.toml_reader import TomlTable

FEWEST_SAMPLES = 10  # by reasoning: fewer are no recording
# share of stamps: what rounding to a clock's tick leaves now and then; chosen; not tried
REPEATS_ALLOWED = 0.01
RATES = (2.0, 20_000.0)  # Hz: slower cannot follow a body, faster no worn unit is; by reasoning
# as setup.toml has them -> in words, and s; by definition
SHORT_TIMES = {"ms": ("milliseconds", 1e-3), "us": ("microseconds", 1e-6), "ns": ("nanoseconds", 1e-9)}


def check_count(setup: TomlTable, table: Table) -> None:
    """A unit has at least ten samples."""
    if len(table) < FEWEST_SAMPLES:
        raise InputError(
            f"{setup.file}: {setup.dotted('table')} ({table.path.name}): found {len(table)} rows; "
            f"expected at least {FEWEST_SAMPLES}: give the whole recording, or remove the unit"
        )


def check_stamps(table: Table, column: str, time: np.ndarray) -> None:
    """Every row has a stamp, stamps never go back, and their spacing is that of seconds.

    Parameters
    ----------
    table, column : where the stamps were read
    time : (N,) s

    Raises
    ------
    InputError
        One of these does not hold.
    """
    if np.isnan(time).any():
        k = int(np.argmax(np.isnan(time)))
        table.refuse(column, f"row {k + 1}: no time stamp; expected seconds: remove that row")
    step = np.diff(time)
    if (step < 0).any():
        k = int(np.argmax(step < 0)) + 1
        table.refuse(
            column,
            f"row {k + 1}: t = {time[k]:.3f} s comes after {time[k - 1]:.3f} s; expected increasing time: "
            "sort the rows, or keep one recording a table",
        )
    middle = float(np.median(step[step > 0])) if (step > 0).any() else np.nan
    if not np.isnan(middle) and not 1 / RATES[1] <= middle <= 1 / RATES[0]:
        table.refuse(column, _spacing(column, middle))


def _spacing(column: str, middle: float) -> str:
    hint = "they look like another unit: say which in time's unit, or give seconds"
    for sign, (word, factor) in SHORT_TIMES.items():
        if 1e-3 <= middle * factor <= 0.1:
            hint = f'they look like {word}: say so, time = {{ column = "{column}", unit = "{sign}" }}'
    return (
        f"found stamps {middle:g} apart, which as seconds is {1 / middle:.3g} samples a second; "
        f"expected {RATES[0]:g} to {RATES[1]:g}; {hint}"
    )


def check_repeats(table: Table, column: str, time: np.ndarray, repeated: np.ndarray) -> None:
    """Few rows carry the stamp of the row before: a coarse clock does so now and then, a wrong one more.

    Parameters
    ----------
    table, column : where the stamps were read
    time : (N,) s
    repeated : rows whose stamp is that of the row before

    Raises
    ------
    InputError
        There are too many.
    """
    if repeated.size > REPEATS_ALLOWED * len(time):
        k = repeated[0]
        table.refuse(
            column,
            f"{repeated.size} of {len(time)} rows repeat the time stamp before them, first row {k + 1} "
            f"(t = {time[k]:.3f} s); expected increasing time, at most {REPEATS_ALLOWED:.0%} repeats: give "
            "stamps of a finer clock, remove the rows that were logged twice, or give sampling_frequency",
        )
