"""What the commands on movement left beside a fit, read back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ...errors import InputError
from ..plain.readable import is_file
from ..plain.tables import Table, read_table
from .activities_file import FILE as ACTIVITIES
from .column_tables import CURVES
from .repetitions_folder import TABLE as REPETITIONS
from .sides_file import FILE as SIDES
from .stride_files import EVENT_COLUMNS, EVENTS, STRIDE_COLUMNS, STRIDES

WORDS = {"side", "event", "activity", "movement", "quantity", "unit"}
ACTIVITY_COLUMNS = ("start_s", "end_s", "activity", "probability")
REPETITION_COLUMNS = ("start_s", "end_s", "movement", "distance", "probability")
CURVE_COLUMNS = ("percent", "cycles", "movement")
SIDE_COLUMNS = (
    *("quantity", "unit", "left", "right", "left_sd", "right_sd", "difference", "difference_sd"),
    *("left_count", "right_count", "symmetry_index_percent", "symmetry_index_sd_percent"),
)
ASKED = {
    EVENTS: EVENT_COLUMNS,
    STRIDES: STRIDE_COLUMNS,
    ACTIVITIES: ACTIVITY_COLUMNS,
    REPETITIONS: REPETITION_COLUMNS,
    CURVES: CURVE_COLUMNS,
    SIDES: SIDE_COLUMNS,
}  # file -> columns that it must have; cycles.csv has one or two more an angle
TIMES = ("time_s", "start_s", "end_s")
SLACK_S = 1.0  # s beyond the fit that an event may lie: a window of activities is longer (by reasoning)
Columns = Mapping[str, np.ndarray]


@dataclass(frozen=True, eq=False)
class Happened:
    """Tables of movement beside a fit; a file that is not there has no entry.

    Attributes
    ----------
    tables : file name -> column -> (n,) numbers, NaN where a cell is empty, or words
    """

    tables: Mapping[str, Columns]

    def of(self, name: str) -> Columns | None:
        """The columns of a file, or None: it is not there or has no row."""
        table = self.tables.get(name)
        return table if table is not None and len(next(iter(table.values()))) else None


def read_happened(folder: Path, first: float, last: float) -> Happened:
    """What `bodyfit strides`, `activities` and `repetitions` wrote beside a fit.

    Parameters
    ----------
    folder : of the fit
    first, last : s, of its frames

    Raises
    ------
    InputError
        A table is damaged, lacks a column, or tells of a time outside the fit: it is of another one.
    """
    there = [name for name in ASKED if is_file(folder / name)]
    return Happened({name: _read(folder / name, ASKED[name], first, last) for name in there})


def _read(path: Path, asked: Sequence[str], first: float, last: float) -> Columns:
    if _only_a_header(path):
        return {name: np.empty(0) for name in asked}
    table = read_table(path)
    names = [*asked, *(name for name in table.names if name not in asked)]
    columns = {name: _words(table, name) if name in WORDS else table.numbers(name) for name in names}
    for name in set(TIMES) & set(columns):
        outside = ~((columns[name] > first - SLACK_S) & (columns[name] < last + SLACK_S))
        if outside.any():
            row = int(np.argmax(outside))
            raise InputError(
                f"{path}: column {name!r}: row {row + 1}: found {columns[name][row]:.2f} s; expected times "
                f"of the fit beside it, {first:.2f} to {last:.2f} s; it is of another fit. Run the command "
                "that wrote it again, or take it away"
            )
    return columns


def _only_a_header(path: Path) -> bool:
    with open(path, encoding="utf-8", errors="replace") as file:
        return bool(file.readline().strip()) and not file.readline().strip()


def _words(table: Table, name: str) -> np.ndarray:
    return np.array(["" if cell is None else str(cell) for cell in table.column(name).to_pylist()], object)
