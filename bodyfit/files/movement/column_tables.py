"""Tables of numbers and words by column: written as text, or handed over as pandas tables."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..plain.atomic_file import whole_file

if TYPE_CHECKING:
    import pandas as pd

CURVES = "cycles.csv"
SIDES = ("left", "right", "none")
OF_STRIDES = [f"{side}{ground}" for side in SIDES for ground in ("", "_up", "_down")]  # movements of strides
DIGITS = {"_s": 4, "_deg": 4, "": 5}  # decimals by the end of a column's name: 0.1 ms, 0.0001° (by reasoning)


def frame(columns: Mapping[str, np.ndarray]) -> pd.DataFrame:
    """A pandas table.

    Parameters
    ----------
    columns : name -> (n,) numbers or words

    Returns
    -------
    pandas.DataFrame; NaN where a number is not known
    """
    import pandas as pd

    return pd.DataFrame(dict(columns))


def by_column(
    rows: Sequence[Mapping[str, Any]], names: Sequence[str], words: Collection[str] = ()
) -> dict[str, np.ndarray]:
    """Columns of a table that is given row by row.

    Parameters
    ----------
    rows : column -> number, word or None
    names : of the columns, in their order
    words : those of them that hold words

    Returns
    -------
    column -> (rows,) array; NaN where a number is None
    """
    return {name: np.array([row[name] for row in rows], object if name in words else float) for name in names}


def write_columns(path: Path, columns: Mapping[str, np.ndarray]) -> None:
    """A .csv file, whole or not at all; an empty cell where a number is not known.

    Parameters
    ----------
    path : replaced when it exists
    columns : name -> (n,) numbers or words

    Raises
    ------
    OutputError
        It can't be written.
    """
    table = frame({name: _rounded(name, values) for name, values in columns.items()})
    with whole_file(path) as partial:
        table.to_csv(partial, index=False, lineterminator="\n")


def write_cycles(columns: Mapping[str, np.ndarray], out: Path, of_strides: bool) -> tuple[Path, ...]:
    """Path of cycles.csv, now written to a folder; none where there is no cycle.

    Strides and repetitions share the file: each replaces its own rows and keeps the other's.

    Parameters
    ----------
    columns : with "percent" and "movement" among them
    out : folder, which is there
    of_strides : whether they are cycles of strides, by side, or repetitions, by movement

    Returns
    -------
    tuple of one Path, or empty

    Raises
    ------
    OutputError
        It can't be written.
    """
    import pandas as pd

    new, old = frame(columns), _others(out / CURVES, of_strides)
    both = [table for table in ((new, old) if of_strides else (old, new)) if len(table)]
    if not both:
        return ()
    table = pd.concat(both, ignore_index=True)
    last = ["cycles", "movement"]  # after the joints of either
    table = table[[name for name in table if name not in last] + last]
    write_columns(out / CURVES, {name: table[name].to_numpy() for name in table})
    return (out / CURVES,)


def _others(path: Path, of_strides: bool) -> pd.DataFrame:
    """Rows of a file of cycles that are of the other kind; none where there is no such file."""
    import pandas as pd

    try:
        table = pd.read_csv(path)
    except (OSError, ValueError):
        return pd.DataFrame()
    if not {"percent", "cycles", "movement"} <= set(table):
        return pd.DataFrame()
    return table.loc[table.movement.isin(OF_STRIDES) != of_strides]


def _rounded(name: str, values: np.ndarray) -> np.ndarray:
    """Numbers as they are printed; words and whole numbers as they are."""
    if values.dtype.kind != "f":
        return values
    digits = next(digits for ending, digits in DIGITS.items() if name.endswith(ending))
    return np.round(values, digits) + 0.0
