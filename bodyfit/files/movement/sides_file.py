"""sides.csv: left against right, one row a quantity; an empty cell is not known."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from .column_tables import write_columns

FILE = "sides.csv"
UNITS = {
    "share": ("percent", 100.0),
    "rad": ("deg", 180.0 / np.pi),
}  # as printed, and how many of it: by definition


def side_columns(rows: Sequence[Any]) -> dict[str, np.ndarray]:
    """The columns of sides.csv.

    Parameters
    ----------
    rows : quantities, as `LeftRight` has them

    Returns
    -------
    column -> (n,) array; percent instead of shares, degrees instead of rad
    """
    told = [(row, *UNITS.get(row.unit, (row.unit, 1.0))) for row in rows]
    return {
        "quantity": np.array([row.quantity for row in rows], object),
        "unit": np.array([unit for _, unit, _ in told], object),
        "left": np.array([factor * row.left for row, _, factor in told], float),
        "right": np.array([factor * row.right for row, _, factor in told], float),
        "left_sd": np.array([factor * row.left_sd for row, _, factor in told], float),
        "right_sd": np.array([factor * row.right_sd for row, _, factor in told], float),
        "difference": np.array([factor * row.difference for row, _, factor in told], float),
        "difference_sd": np.array([factor * row.difference_sd for row, _, factor in told], float),
        "left_count": np.array([row.left_count for row in rows], int),
        "right_count": np.array([row.right_count for row in rows], int),
        "symmetry_index_percent": np.array([row.index for row in rows], float),
        "symmetry_index_sd_percent": np.array([row.index_sd for row in rows], float),
    }


def write_sides(rows: Sequence[Any], out: Path) -> tuple[Path, ...]:
    """Path of sides.csv, now written to a folder; an earlier one goes where nothing is compared.

    Parameters
    ----------
    rows : quantities
    out : folder, which is there

    Raises
    ------
    OutputError
        It can't be written.
    """
    if not rows:
        (out / FILE).unlink(missing_ok=True)
        return ()
    write_columns(out / FILE, side_columns(rows))
    return (out / FILE,)
