"""A fit as one Parquet table: time, angles, rotations and positions, units and account in its metadata."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..plain.tables import number_column
from .columns import angle_columns, segment_columns, time_column
from .handover import Handover

NOT_HELD = "events and strides stand in tables of their own (events.csv, strides.csv), not in the .parquet"


def write_parquet(path: Path, handed: Handover) -> tuple[str, ...]:
    """Writes the table; every digit is kept.

    Parameters
    ----------
    path : of the file
    handed : what to write

    Returns
    -------
    sentences on what the format does not hold

    Notes
    -----
    Metadata of the table: the account (`bodyfit.title`, `bodyfit.software`, `bodyfit.caution` …); of each
    column: `unit` and `meaning`.
    """
    import pyarrow as pa
    from pyarrow import parquet

    columns = [time_column(handed), *angle_columns(handed), *segment_columns(handed)]
    fields = [
        pa.field(c.name, pa.float64(), metadata={"unit": c.unit, "meaning": c.meaning}) for c in columns
    ]
    about = {f"bodyfit.{key}": text for key, text in handed.account.as_text().items()}
    arrays = [number_column(v, ~np.isnan(v)) for v in (np.asarray(c.values, float) for c in columns)]
    parquet.write_table(pa.table(arrays, schema=pa.schema(fields, metadata=about)), path)
    return () if handed.events is None and handed.strides is None else (NOT_HELD,)
