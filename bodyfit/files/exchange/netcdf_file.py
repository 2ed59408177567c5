"""A fit as a netCDF-4 file with CF attributes, for xarray and everything that reads netCDF."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from .dataset import angle_variables, attributes_of, coordinates_of, segment_variables
from .handover import Handover, Rows
from .optional import optional

COMPRESSED = {"zlib": True, "complevel": 4}  # common practice: lossless, quick


def write_netcdf(path: Path, handed: Handover) -> tuple[str, ...]:
    """Writes the file; every digit is kept.

    Parameters
    ----------
    path : of the file
    handed : what to write

    Returns
    -------
    sentences on what the format does not hold: nothing

    Raises
    ------
    OutputError
        xarray or netCDF4 is not installed.

    Notes
    -----
    Variables: `<joint>_<angle>` and `<joint>_<angle>_sd` (time), degree; `rotation` (time, segment,
    quaternion); `position` (time, segment, axis), m; events and strides along `event` and `stride`.
    """
    xarray = optional("xarray", ".nc")
    optional("netCDF4", ".nc")
    variables = angle_variables(handed) | segment_variables(handed)
    variables |= _rows(handed.events, "event") | _rows(handed.strides, "stride")
    data = xarray.Dataset(variables, coordinates_of(handed), attributes_of(handed))
    numbers = [name for name, array in data.data_vars.items() if array.dtype.kind == "f"]
    data.to_netcdf(path, engine="netcdf4", encoding={name: COMPRESSED for name in numbers})
    return ()


def _rows(rows: Rows | None, dimension: str) -> dict[str, Any]:
    """Columns of events or strides along a dimension of their own; numbers as numbers, empty cells NaN."""
    out: dict[str, Any] = {}
    for name, cells in (rows or {}).items():
        if any(isinstance(cell, str) for cell in cells):
            values: Any = np.array(["" if cell is None else str(cell) for cell in cells], object)
        else:
            values = np.array([np.nan if cell is None else cell for cell in cells], float)
        out[f"{dimension}_{name}"] = (dimension, values)
    return out
