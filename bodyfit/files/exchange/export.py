"""A fit written in a format that others open, chosen by the file's name."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ...errors import InputError, OutputError, suggest
from ...recording.capture import Capture
from ...results.fit_like import FitLike
from ..plain.atomic_file import check_file
from .bids.writer import write_bids
from .c3d.file import write_c3d
from .handover import Handover, handover
from .netcdf_file import write_netcdf
from .parquet_file import write_parquet
from .spreadsheet import write_spreadsheet

WRITERS: dict[str, Callable[[Path, Handover], tuple[str, ...]]] = {
    "c3d": write_c3d,
    "xlsx": write_spreadsheet,
    "parquet": write_parquet,
    "nc": write_netcdf,
}
FORMATS = (*WRITERS, "bids")


@dataclass(frozen=True)
class Exported:
    """What was written, and sentences on what the format could not hold."""

    path: Path
    format: str
    left_out: tuple[str, ...]


def export(
    fit: FitLike,
    path: str | Path,
    format: str | None = None,
    *,
    beside: str | Path | None = None,
    capture: Capture | None = None,
) -> Exported:
    """Writes a fit as C3D, spreadsheet, Parquet, netCDF or BIDS-Motion.

    Parameters
    ----------
    fit : from `bodyfit.fit` or `bodyfit.read_fit`
    path : of the file; for "bids" of a folder, made if missing
    format : c3d, xlsx, parquet, nc or bids; None: by the ending of the path
    beside : folder of the fit, whose events.csv and strides.csv go along; None: neither
    capture : for "bids": the recording, whose raw samples go in; None: the fit alone, as a derivative

    Returns
    -------
    Exported

    Raises
    ------
    InputError
        An unknown format, or events.csv or strides.csv are damaged.
    OutputError
        The file can't be written, a library for it is missing, or the format can't hold this fit.
    """
    path = Path(path)
    chosen = _format(path, format)
    handed = handover(fit, beside)
    if chosen == "bids":
        return Exported(path, chosen, write_bids(path, handed, capture))
    return Exported(path, chosen, _written(WRITERS[chosen], path, handed))


def _format(path: Path, asked: str | None) -> str:
    """The format asked for, or the one that the path's ending names."""
    word = asked if asked is not None else path.suffix.lower().lstrip(".")
    if word in FORMATS:
        return word
    where = "format" if asked is not None else f"{path}: unknown ending {path.suffix!r}, format"
    raise InputError(f"{where}: found {word!r}; {suggest(word, FORMATS)}")


def _written(write: Callable[[Path, Handover], tuple[str, ...]], path: Path, handed: Handover):
    """Writes whole or not at all; the name handed to a library keeps its ending."""
    check_file(path)
    try:
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=".bodyfit-") as scratch:
            partial = Path(scratch) / path.name
            left_out = write(partial, handed)
            os.replace(partial, path)
    except OSError as error:
        if isinstance(error, OutputError):
            raise
        raise OutputError(
            f"{path}: cannot be written: {error.strerror or error}; choose a folder that can be written to"
        ) from error
    return left_out
