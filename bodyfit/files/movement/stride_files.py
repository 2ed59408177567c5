"""events.csv and strides.csv: instants of strides, and one row a stride; an empty cell is not known."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from ...errors import OutputError
from ..plain.atomic_file import check_folder, whole_file

EVENTS, STRIDES = "events.csv", "strides.csv"
EVENT_COLUMNS = ("time_s", "time_sd_s", "side", "event")
STRIDE_COLUMNS = (
    "side",
    "start_s",
    "foot_flat_s",
    "toe_off_s",
    "mid_swing_s",
    "end_s",
    "stride_time_s",
    "stride_length_m",
    "stride_length_sd_m",
    "speed_m_s",
    "stance_percent",
    "double_support_percent",
    "toe_clearance_m",
    "height_change_m",
    "turn_deg",
)
WORDS = ("side", "event")
DECIMALS = 4  # 0.1 ms, 0.1 mm, 0.0001 %: below what worn units resolve; by reasoning
Rows = Sequence[Mapping[str, Any]]


def event_frame(rows: Rows) -> pd.DataFrame:
    """Events as a table with the columns of events.csv.

    Parameters
    ----------
    rows : column -> value
    """
    return _frame(rows, EVENT_COLUMNS)


def stride_frame(rows: Rows) -> pd.DataFrame:
    """Strides as a table with the columns of strides.csv, NaN where a value is None.

    Parameters
    ----------
    rows : column -> value or None
    """
    return _frame(rows, STRIDE_COLUMNS)


def _frame(rows: Rows, columns: Sequence[str]) -> pd.DataFrame:
    table = pd.DataFrame([dict(row) for row in rows], columns=list(columns))
    return table.astype({name: object if name in WORDS else float for name in columns})


def write_strides(events: Rows, strides: Rows, out: str | Path) -> tuple[Path, ...]:
    """Paths of events.csv and strides.csv, now written to a folder.

    Parameters
    ----------
    events, strides : column -> value or None, a mapping a row
    out : folder, made if missing

    Raises
    ------
    OutputError
        One of them can't be written; each is written whole or not at all.
    """
    out = Path(out)
    check_folder(out, (EVENTS, STRIDES))
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{out}: can't be made: {error.strerror}; choose another folder") from error
    for name, columns, rows in ((EVENTS, EVENT_COLUMNS, events), (STRIDES, STRIDE_COLUMNS, strides)):
        with whole_file(out / name) as partial, open(partial, "w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(columns)
            writer.writerows([[_cell(row[column]) for column in columns] for row in rows])
    return out / EVENTS, out / STRIDES


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return value if isinstance(value, str) else f"{round(value, DECIMALS) + 0.0:.{DECIMALS}f}"
