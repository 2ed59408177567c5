"""Time stamps as recorders write them, brought to seconds on the capture's clock without losing digits."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from ...errors import InputError
from ...recording.capture import Unit
from ..plain.tables import Table
from ..plain.toml_reader import TomlTable

TIME_UNITS = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}  # by definition
"""Unit -> how many make a second (SI prefixes)."""
TIME_WORDS = (*TIME_UNITS, "iso8601", "samples")
TIME_KEYS = ("column", "unit")
ABSOLUTE_FROM = 10**8  # s, March 1973 in Unix time; a clock that counts from its start needs 3 years to it
MICROSECONDS = 10**6  # a second, finest step of Python's datetime; by definition


@dataclass(frozen=True, eq=False)
class Stamps:
    """Stamps of a table's rows.

    Attributes
    ----------
    column : that they were read from
    time : (N,) s since `start`
    start : microseconds since 1970 (Unix time); None where the clock has a start of its own
    """

    column: str
    time: np.ndarray
    start: int | None = None


def time_column(keys: TomlTable) -> tuple[str | None, str]:
    """Column and unit that `time` names; the bare name of a column stands for seconds.

    Raises
    ------
    InputError
        `time` is neither text nor a table with a column and a known unit.
    """
    if not isinstance(keys.values.get("time"), dict):
        return keys.text("time"), "s"
    table = keys.table("time") or keys.missing("time", "a column")
    table.only(TIME_KEYS)
    column = table.text("column") or table.missing("column", "the name of the column of time stamps")
    return column, table.choice("unit", TIME_WORDS) or "s"


def read_stamps(table: Table, column: str, unit: str, rate: float | None, asked_by: str) -> Stamps:
    """The stamps of a column.

    Parameters
    ----------
    table, column : where they stand
    unit : one of TIME_WORDS
    rate : samples a second, for unit "samples"
    asked_by : key that names the column, for messages

    Returns
    -------
    Stamps; NaN where a cell is empty

    Raises
    ------
    InputError
        There is no such column, or a cell is not a stamp of this unit.
    """
    if unit == "iso8601":
        return _counted(column, _moments(table, column, asked_by), TIME_UNITS["ns"])
    whole = table.whole_numbers(column, asked_by)
    if unit == "samples":
        values = table.numbers(column, asked_by) if whole is None else (whole - whole[0]).astype(float)
        return Stamps(column, values / (rate or 1.0))
    if whole is not None:
        return _counted(column, whole, TIME_UNITS[unit])
    values = table.numbers(column, asked_by)
    first = values[0] / TIME_UNITS[unit]
    if not first >= ABSOLUTE_FROM:
        return Stamps(column, values if unit == "s" else values / TIME_UNITS[unit])
    start = int(first) * MICROSECONDS  # whole seconds, which a double holds in every one of these units
    return Stamps(column, (values - int(first) * TIME_UNITS[unit]) / TIME_UNITS[unit], start)


def _counted(column: str, whole: np.ndarray, a_second: int) -> Stamps:
    """Stamps from (N,) integers, subtracted as integers: nanoseconds since 1970 exceed a double's 2⁵³."""
    first = int(whole[0])
    if first < ABSOLUTE_FROM * a_second:
        return Stamps(column, whole / a_second)
    start = first // a_second
    return Stamps(column, (whole - start * a_second) / a_second, start * MICROSECONDS)


def _moments(table: Table, column: str, asked_by: str) -> np.ndarray:
    """(N,) integer nanoseconds since 1970; a moment without a time zone is taken as UTC."""
    import pyarrow as pa
    import pyarrow.compute as pc

    cells = table.column(column, asked_by)
    try:
        if pa.types.is_string(cells.type):
            cells = pc.replace_substring(pc.utf8_trim_whitespace(cells), ",", ".")
            zoned = pc.any(pc.match_substring_regex(cells, r"(Z|[+-]\d\d:?\d\d)$")).as_py()
            cells = cells.cast(pa.timestamp("ns", "UTC" if zoned else None))
        elif not pa.types.is_timestamp(cells.type):
            raise ValueError(f"found {cells[0].as_py()!r}")
        if cells.null_count:
            raise ValueError("found an empty cell")
        return cells.cast(pa.timestamp("ns", cells.type.tz)).cast(pa.int64()).to_numpy()
    except ValueError as error:
        table.refuse(
            column, f"{error}; expected a date and time in every row, as in 2026-03-01T10:00:00.250+01:00"
        )


def on_one_clock(
    setup: TomlTable, units: Mapping[str, Unit], starts: Mapping[str, int | None]
) -> tuple[dict[str, Unit], datetime | None]:
    """Units counted from the capture's start, and that moment; unchanged where no clock is absolute.

    Parameters
    ----------
    setup : for messages
    units : each on stamps that count from its own start
    starts : unit -> microseconds since 1970, or None

    Raises
    ------
    InputError
        Some stamps are absolute and others are not, so that nothing says how they belong together.
    """
    absolute = {name: start for name, start in starts.items() if start is not None}
    if not absolute:
        return dict(units), None
    if len(absolute) < len(starts):
        other = next(name for name, start in starts.items() if start is None)
        raise InputError(
            f"{setup.file}: units.{other}.time: found stamps that count from a start of their own, where "
            f"those of units.{next(iter(absolute))} are dates; expected one clock: give both the same kind"
        )
    begin = min(start + round(float(units[n].time[0]) * MICROSECONDS) for n, start in absolute.items())
    moved = {
        name: dataclasses.replace(unit, time=unit.time + (absolute[name] - begin) / MICROSECONDS)
        for name, unit in units.items()
    }
    return moved, datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=begin)
