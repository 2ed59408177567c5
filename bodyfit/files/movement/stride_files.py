"""events.csv and strides.csv: instants of strides, and one row a stride; an empty cell is not known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..plain.atomic_file import check_folder, make_folder, write_text
from ..plain.csv_text import csv_text

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
    make_folder(out)
    for name, columns, rows in ((EVENTS, EVENT_COLUMNS, events), (STRIDES, STRIDE_COLUMNS, strides)):
        cells = ([_cell(row[column]) for column in columns] for row in rows)
        write_text(out / name, csv_text(columns, cells))
    return out / EVENTS, out / STRIDES


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return value if isinstance(value, str) else f"{round(value, DECIMALS) + 0.0:.{DECIMALS}f}"
