"""How much a table may hold against what it takes on the disk, asked before it is unpacked."""

from __future__ import annotations

import zlib
from pathlib import Path
from typing import Any

from ...errors import InputError
from .readable import check_readable

MOST_BYTES = 4e9  # of a table on the disk: 15 units at 100 Hz for a week (by reasoning)
MOST_COLUMNS = 10_000  # 64 units with 13 columns are 832 (by reasoning)
FREE_BYTES = 64e6  # of text whatever the file's size: 2 hours of a unit at 100 Hz (by reasoning)
MOST_PACKED = 25  # times; recordings pack to a third, at rest to a tenth; by reasoning
FREE_ROWS = 1_000_000  # whatever the file's size: 3 hours at 100 Hz; by reasoning
LEAST_ROW_BYTES = 4  # a row of three 12-bit samples, packed perfectly (by reasoning)
# cells of a packed text table whatever the file's size: 64 units with 13 columns for 4 minutes (by
# reasoning); 122 million in a file of 10 MB took 2.7 GiB (tried)
FREE_CELLS = 20_000_000
CELLS_A_BYTE = 2  # on the disk, beyond that; by reasoning: three 12-bit samples, packed perfectly, take 4
BETWEEN_CELLS = b",;\t \n"  # by definition
LONGEST_CELL = 100  # bytes of a text cell in a parquet table; a date and time takes 35 (ISO 8601)
PIECE = 1 << 20  # bytes unpacked at a time, common practice


def check_table_file(path: Path) -> None:
    """Refuses a table that is no file, or that unpacks to more than a recording can.

    Parameters
    ----------
    path : of the table, there

    Raises
    ------
    InputError
        Names what was found and the limit.
    """
    check_readable(path, MOST_BYTES)
    if path.name.lower().endswith(".gz"):
        _check_unpacked(path)
    elif path.name.lower().endswith(".parquet"):
        _check_parquet(path)


def check_header(path: Path, columns: int) -> None:
    """Refuses a table of more columns than any recording has."""
    if columns > MOST_COLUMNS:
        raise InputError(f"{path}: found {columns} columns, expected at most {MOST_COLUMNS}")


def check_rows(path: Path, rows: int) -> None:
    """Refuses more rows than the file's bytes can hold samples."""
    size = path.stat().st_size
    most = max(FREE_ROWS, size / LEAST_ROW_BYTES)
    if rows > most:
        raise InputError(
            f"{path}: found {rows} rows in {size / 1e6:.3g} MB, expected at most {most:.0f}: no recording "
            "packs so well. Give the table as it was recorded"
        )


def _check_unpacked(path: Path) -> None:
    """Counts what a .gz holds, only as far as it may go."""
    size = path.stat().st_size
    most, found = max(FREE_BYTES, MOST_PACKED * size), 0
    most_cells, cells = max(FREE_CELLS, CELLS_A_BYTE * size), 0
    unpacker = zlib.decompressobj(wbits=31)
    with path.open("rb") as file:
        left = b""
        while left or (left := file.read(PIECE)):
            try:
                piece = unpacker.decompress(left, PIECE)
            except zlib.error:
                return  # damaged: told by who reads it
            found, cells = found + len(piece), cells + len(piece) - len(piece.translate(None, BETWEEN_CELLS))
            left = unpacker.unconsumed_tail
            if unpacker.eof:  # a file may be several packed ones after the other
                left, unpacker = unpacker.unused_data, zlib.decompressobj(wbits=31)
            if found > most:
                raise InputError(
                    f"{path}: found over {most / 1e6:.3g} MB of text in {size / 1e6:.3g} MB, expected "
                    f"at most {MOST_PACKED} times the file's size: no recording packs so well. Give the "
                    "table as it was recorded"
                )
            if cells > most_cells:
                raise InputError(
                    f"{path}: found over {most_cells:.3g} cells in {size / 1e6:.3g} MB, expected at most so "
                    "many: no recording packs so well. Give the table as it was recorded"
                )


def _check_parquet(path: Path) -> None:
    import pyarrow.parquet as parquet

    try:
        about: Any = parquet.read_metadata(path)
    except (OSError, ValueError):
        return  # damaged: told by who reads it
    check_header(path, about.num_columns)
    check_rows(path, about.num_rows)
    held = sum(about.row_group(k).total_byte_size for k in range(about.num_row_groups))
    size = path.stat().st_size
    if max(held, 8.0 * about.num_rows * about.num_columns) > max(4 * FREE_BYTES, MOST_PACKED * size):
        raise InputError(
            f"{path}: found {about.num_rows} rows × {about.num_columns} columns in {size / 1e6:.3g} MB, "
            f"expected at most {MOST_PACKED} times the file's size: no recording packs so well. Give the "
            "table as it was recorded"
        )
