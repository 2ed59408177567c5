"""activities.csv: one row a stretch of an activity."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from ..plain.atomic_file import check_folder, make_folder, write_text
from ..plain.csv_text import csv_text

FILE = "activities.csv"


def write_activities(columns: Mapping[str, np.ndarray], out: str | Path) -> Path:
    """Writes activities.csv to a folder, whole.

    Parameters
    ----------
    columns : name -> (stretches,) numbers or words, in the order of time
    out : folder, made if missing

    Returns
    -------
    Path of the file

    Raises
    ------
    OutputError
        It can't be written; what stood there before is still there.
    """
    out = Path(out)
    check_folder(out, (FILE,))
    make_folder(out)
    rows = zip(*(_cells(values) for values in columns.values()), strict=True)
    write_text(out / FILE, csv_text(list(columns), rows))
    return out / FILE


def _cells(values: np.ndarray) -> list[str]:
    return [v if isinstance(v, str) else "" if np.isnan(v) else f"{v:.3f}" for v in values]
