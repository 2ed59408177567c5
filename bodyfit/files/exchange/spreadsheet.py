"""A fit as a workbook: angles, events, strides, ranges, definitions, with frozen headers and real numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ...errors import OutputError
from .columns import Column, angle_columns, time_column
from .handover import Handover, Rows
from .optional import optional

MOST_ROWS = 1_048_576  # of a sheet, ISO/IEC 29500 (ECMA-376) part 1, 18.3.1.73
RANGES = ("joint", "angle", "min_deg", "max_deg", "mean_deg", "sd_over_time_deg", "median_sd_deg")
LIMITS = ("model_low_deg", "model_high_deg", "model_source")
EXPLAINED = {
    "min_deg, max_deg, mean_deg": "least, greatest and mean value of the angle over the whole recording",
    "sd_over_time_deg": "standard deviation of the angle over time: how much it moved, no uncertainty",
    "median_sd_deg": "median over time of the angle's uncertainty (one standard deviation) by the fit itself",
    "model_low_deg, model_high_deg": "range of the joint in the body model, with its source",
    "time_sd_s": "standard deviation of an event's time",
    "stride_length_sd_m": "standard deviation of the stride's length",
    "empty cell": "not known; never zero",
}


def write_spreadsheet(path: Path, handed: Handover) -> tuple[str, ...]:
    """Writes the workbook.

    Parameters
    ----------
    path : of the .xlsx
    handed : what to write

    Returns
    -------
    sentences on what the format does not hold

    Raises
    ------
    OutputError
        XlsxWriter is not installed, or there are more frames than a sheet has rows.
    """
    writer = optional("xlsxwriter", ".xlsx")
    frames = len(handed.poses.time)
    if frames >= MOST_ROWS:
        raise OutputError(
            f"{path}: {frames} frames, a sheet has {MOST_ROWS} rows; cut the recording into parts, or write "
            ".parquet or .nc"
        )
    columns = [time_column(handed), *angle_columns(handed)]
    with writer.Workbook(str(path), {"constant_memory": True, "nan_inf_to_errors": False}) as book:
        text = handed.account.as_text()
        book.set_properties(
            {
                "title": text["title"],
                "comments": f"{text['software']}. {text['caution']}",
                "author": "bodyfit",
            }
        )
        bold = book.add_format({"bold": True})
        _sheet(book, bold, "angles", [c.name for c in columns], _turned(columns))
        for name, rows in (("events", handed.events), ("strides", handed.strides)):
            if rows is not None:
                _sheet(book, bold, name, list(rows), _cells(rows))
        _sheet(book, bold, "ranges", [*RANGES, *LIMITS], ranges(handed), left=2)
        _sheet(book, bold, "definitions", ["what", "unit", "meaning"], definitions(handed, columns))
    return ("segment rotations and places stay in segments.csv; .parquet and .nc hold them",)


def ranges(handed: Handover) -> Iterator[list[Any]]:
    """One row an angle: its extremes and mean over time, how sure it is, and the model's range."""
    for name, joint in handed.joints.items():
        for angle in joint.angles:
            value = np.degrees(handed.poses.joint_angles[name][angle])
            spread = handed.angle_sd.get(name, {}).get(angle)
            sure = None if spread is None else float(np.degrees(np.nanmedian(spread)))
            low, high = np.degrees(joint.range[angle]).round(6) if angle in joint.range else (None, None)
            source = joint.range_source if angle in joint.range else None
            told = [float(f(value)) for f in (np.nanmin, np.nanmax, np.nanmean, np.nanstd)]
            yield [name, angle, *told, sure, low, high, source]


def definitions(handed: Handover, columns: Sequence[Column]) -> Iterator[list[Any]]:
    """The account, then what every column means."""
    for key, text in handed.account.as_text().items():
        yield [key, None, text]
    for column in columns:
        yield [column.name, column.unit, column.meaning]
    for what, meaning in EXPLAINED.items():
        yield [what, None, meaning]


def _turned(columns: Sequence[Column]) -> Iterator[list[float]]:
    """Rows of numbers."""
    yield from np.stack([column.values for column in columns], axis=1).tolist()


def _cells(rows: Rows) -> Iterator[list[Any]]:
    yield from (list(row) for row in zip(*rows.values(), strict=True))


def _sheet(book, bold, name: str, heading: Sequence[str], rows: Iterator[list[Any]], left: int = 1) -> None:
    """One sheet, its first row and leftmost columns frozen; what is not known stays empty."""
    sheet = book.add_worksheet(name)
    sheet.freeze_panes(1, left)
    for column, text in enumerate(heading):
        sheet.set_column(column, column, min(60, max(10, len(text) + 1)))
    sheet.write_row(0, 0, heading, bold)
    for number, row in enumerate(rows, 1):
        for column, cell in enumerate(row):
            if isinstance(cell, str):
                sheet.write_string(number, column, cell)
            elif cell is not None and np.isfinite(cell):
                sheet.write_number(number, column, cell)
