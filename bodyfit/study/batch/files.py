"""The files of a batch: each capture's folder, batch.csv, batch.html."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ...errors import OutputError
from ...files.finished_work import read_kept
from ...files.plain.atomic_file import whole_file
from ...files.plain.csv_text import csv_text
from .page import page_of
from .result import DONE, Row

KEPT = "batch_row"  # .json, written last: what it stands beside is whole
LEADING = ("capture", "folder", "title", "model", "state", "reason", "seconds")
COUNTED = ("serious", "warning", "note")
SOLVER = ("iterations", "converged")


def kept_row(out: Path, name: str) -> Row | None:
    """The row of a capture that was finished before, or None."""
    return Row.from_data(read_kept(out / name, KEPT))


def keep(out: Path, row: Row, files: dict[str, bytes]) -> None:
    """Puts a capture's files and, last, its row into its folder; a failure leaves only its row.

    Raises
    ------
    OutputError
        They can't be written.
    """
    folder = out / row.name
    last = folder / f"{KEPT}.json"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        last.unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(f"{folder}: can't be written to: {error.strerror}; choose another --out") from error
    for name, content in files.items():
        with whole_file(folder / name) as partial:
            partial.write_bytes(content)
    with whole_file(last) as partial:
        partial.write_text(json.dumps(row.as_data(), ensure_ascii=False) + "\n", encoding="utf-8")


def write_batch(out: Path, rows: Sequence[Row], total: int) -> None:
    """batch.csv and batch.html of the captures that are finished so far.

    Raises
    ------
    OutputError
        They can't be written.
    """
    with whole_file(out / "batch.csv") as partial:
        partial.write_text(table_of(rows), encoding="utf-8", newline="")
    with whole_file(out / "batch.html") as partial:
        partial.write_text(page_of(rows, total), encoding="utf-8")


def table_of(rows: Sequence[Row]) -> str:
    """batch.csv's text: one row a capture; an empty cell means: not known."""
    angles = angles_of(rows)
    ends = [f"{joint}_{angle}_{end}_deg" for joint, angle in angles for end in ("min", "max")]
    columns = [*LEADING, *(f"{word}_findings" for word in COUNTED), *SOLVER, *ends]
    return csv_text(columns, (_cells(row, angles) for row in rows))


def angles_of(rows: Sequence[Row]) -> list[tuple[str, str]]:
    """(joint, angle) of all rows, in the order in which they first appear."""
    seen: dict[tuple[str, str], None] = {}
    for row in rows:
        seen |= {(joint, angle): None for joint, angles in row.ranges.items() for angle in angles}
    return list(seen)


def _cells(row: Row, angles: Sequence[tuple[str, str]]) -> list[Any]:
    folder = row.name if row.state == DONE else ""
    seconds = "" if row.seconds is None else f"{row.seconds:.2f}"
    solver = [
        "" if row.iterations is None else row.iterations,
        "" if row.converged is None else str(row.converged).lower(),
    ]
    ends = [row.ranges.get(joint, {}).get(angle) for joint, angle in angles]
    told = [f"{value:.3f}" if both else "" for both in ends for value in (both or ("", ""))]
    counts = [row.findings.get(word, "") if row.state == DONE else "" for word in COUNTED]
    leading = [row.capture, folder, row.title, row.model, row.state, row.reason, seconds]
    return [*leading, *counts, *solver, *told]
