"""Tables of numbers with named columns: text (.csv, .tsv, .txt, also .gz) and .parquet files."""

from __future__ import annotations

import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from ...errors import InputError, suggest
from .atomic_file import whole_file
from .dialect import Dialect, found_dialect
from .readable import is_there
from .table_limits import LONGEST_CELL, check_header, check_rows, check_table_file

DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+")
KINDS = (".csv", ".csv.gz", ".tsv", ".tsv.gz", ".parquet")
READ_KINDS = (*KINDS, ".txt", ".txt.gz")


@dataclass(frozen=True, eq=False)
class Table:
    """Columns of one file as they were read; rows are counted from 1, below the header."""

    path: Path
    names: tuple[str, ...]
    columns: tuple[Any, ...]

    def __len__(self) -> int:
        return len(self.columns[0])

    def refuse(self, column: str, text: str) -> NoReturn:
        """Raise InputError about a column of this table."""
        raise InputError(f"{self.path}: column {column!r}: {text}")

    def numbers(self, name: str, asked_by: str = "") -> np.ndarray:
        """(N,) float column, NaN where a cell is empty.

        Parameters
        ----------
        name : of the column
        asked_by : key that names the column, for the message

        Raises
        ------
        InputError
            There is no such column, or there are two, or a cell is neither empty nor a finite number.
        """
        values = self._as_float(name, self.column(name, asked_by))
        if np.isinf(values).any():
            row = int(np.argmax(np.isinf(values)))
            self.refuse(
                name, f"row {row + 1}: found {values[row]}; expected a finite number or an empty cell"
            )
        return values

    def column(self, name: str, asked_by: str = "") -> Any:
        """The column as it was read, a pyarrow array; raises InputError where its name is not there once."""
        if self.names.count(name) != 1:
            self._refuse_name(name, asked_by)
        return self.columns[self.names.index(name)]

    def whole_numbers(self, name: str, asked_by: str = "") -> np.ndarray | None:
        """(N,) int64 of a column that holds nothing but whole numbers, every digit kept; None for others."""
        import pyarrow as pa

        column = self.column(name, asked_by)
        if not pa.types.is_integer(column.type) or column.null_count:
            return None
        try:
            return column_numbers(column.cast(pa.int64()), np.int64)
        except pa.ArrowInvalid:  # beyond 2⁶³
            return None

    def _refuse_name(self, name: str, asked_by: str) -> NoReturn:
        named = f" (named by {asked_by})" if asked_by else ""
        if name in self.names:
            self.refuse(name, f"stands twice in the header{named}; expected once: rename one of the two")
        hint = ""
        if len(self.names) == 1 and any(mark in self.names[0] for mark in ";\t"):
            hint = "; the cells seem to be parted by ';' or tabs: give separator in setup.toml"
        raise InputError(f"{self.path}: no column {name!r}{named}; {suggest(name, self.names)}{hint}")

    def _as_float(self, name: str, column: Any) -> np.ndarray:
        import pyarrow as pa

        kind = column.type
        if kind == pa.float64():  # most columns; to cast loads all that pyarrow computes
            return column_numbers(column, float)
        if pa.types.is_floating(kind) or pa.types.is_integer(kind) or pa.types.is_null(kind):
            return column_numbers(column.cast(pa.float64(), safe=False), float)  # whole ones beyond 2⁵³ too
        return np.array([self._cell(name, row, cell) for row, cell in enumerate(column.to_pylist())], float)

    def _cell(self, name: str, row: int, cell: object) -> float:
        """One cell as a number; a column that holds nothing else never comes here."""
        text = "" if cell is None else cell.strip() if isinstance(cell, str) else f"{cell!r}"
        try:
            return float(text) if text else np.nan
        except ValueError:
            fix = "; write decimals with a point" if DECIMAL_COMMA.fullmatch(text) else ""
            self.refuse(name, f"row {row + 1}: found {text!r}; expected a number or an empty cell{fix}")


def read_table(path: Path, dialect: Dialect | None = None) -> Table:
    """All columns of a table file.

    Parameters
    ----------
    path : its name ends in one of READ_KINDS
    dialect : how a text table is written; what it leaves open is found in the file

    Raises
    ------
    InputError
        The file is missing (tables beside it are named), of an unknown kind, empty, damaged or not UTF-8.
    """
    if not path.name.lower().endswith(READ_KINDS):
        raise InputError(f"{path}: unknown kind of table; {suggest(''.join(path.suffixes), READ_KINDS)}")
    if not is_there(path):
        beside = [p.name for p in sorted(path.parent.glob("*")) if p.name.lower().endswith(READ_KINDS)]
        raise InputError(
            f"{path}: no such table; " + (suggest(path.name, beside) if beside else "the folder holds none")
        )
    check_table_file(path)
    try:
        read = _read_parquet(path) if path.name.lower().endswith(".parquet") else _read_text(path, dialect)
        names = tuple(name.strip() for name in read.column_names)
    except UnicodeDecodeError:
        raise InputError(f"{path}: the header is not UTF-8; save the table as UTF-8 text") from None
    except InputError:
        raise
    except (OSError, ValueError, EOFError, zlib.error) as error:
        raise InputError(f"{path}: cannot be read as a table: {str(error).splitlines()[0]}") from None
    check_rows(path, read.num_rows)
    if read.num_rows == 0:
        raise InputError(f"{path}: the table has a header but no rows; expected one row a sample")
    return Table(path, names, tuple(read.columns))


def return_memory() -> None:
    """Gives back what tables that are gone took: pyarrow keeps it, as much again as an hour's samples."""
    import pyarrow as pa

    pa.default_memory_pool().release_unused()


def _read_parquet(path: Path) -> Any:
    import pyarrow.parquet as parquet

    schema = parquet.read_schema(path)
    texts = [field.name for field in schema if _is_text(getattr(field.type, "value_type", field.type))]
    table = parquet.read_table(path, read_dictionary=texts)  # text is unpacked only when short
    for k, name in enumerate(table.column_names):
        if name in texts:
            table = table.set_column(k, name, _unpacked(path, name, table.column(k)))
    return table


def _is_text(kind: Any) -> bool:
    return str(kind) in ("string", "large_string", "binary")


def _unpacked(path: Path, name: str, column: Any) -> Any:
    """A column of packed text, as text."""
    import pyarrow.compute as pc

    for chunk in column.chunks:
        words = getattr(chunk, "dictionary", chunk)
        longest = pc.max(pc.binary_length(words)).as_py() or 0
        if longest > LONGEST_CELL:
            raise ValueError(f"column {name!r}: a cell of {longest} bytes, expected {LONGEST_CELL} at most")
    kind = column.type
    return column.cast(kind.value_type) if hasattr(kind, "value_type") else column


def _read_text(path: Path, dialect: Dialect | None) -> Any:
    import pyarrow as pa
    from pyarrow import csv

    how = found_dialect(path, dialect or Dialect())
    check_header(path, how.columns)
    parse = csv.ParseOptions(delimiter=how.separator)
    convert = csv.ConvertOptions(decimal_point=how.decimal)
    try:
        return csv.read_csv(path, csv.ReadOptions(skip_rows=how.skip_rows), parse, convert)
    except pa.ArrowInvalid:  # again on one thread: only so does the message carry the row
        return csv.read_csv(path, csv.ReadOptions(use_threads=False, skip_rows=how.skip_rows), parse, convert)


def write_table(path: Path, columns: Mapping[str, np.ndarray], digits: int | None = None) -> None:
    """Write columns to a table file of the kind that its name ends in; NaN becomes an empty cell.

    Parameters
    ----------
    path : replaced when it exists, and only once the new file is complete
    columns : name -> (N,) array
    digits : text tables only: significant digits of each column's largest value; None writes every digit

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    import pyarrow as pa

    text = not path.name.endswith(".parquet")
    arrays = [_rounded(v, digits) if text and digits else np.asarray(v, float) for v in columns.values()]
    table = pa.table([number_column(v, ~np.isnan(v)) for v in arrays], names=list(columns))
    with whole_file(path) as partial:
        if text:
            _write_text(table, path, partial)
        else:
            _write_parquet(table, partial)


def column_numbers(column: Any, kind: type) -> np.ndarray:
    """Numbers of a pyarrow column; from its memory, since `to_numpy` imports pandas whole.

    Parameters
    ----------
    column : chunked array of N numbers of 64 bits
    kind : what they are; where cells may be empty, float

    Returns
    -------
    (N,) array of its own, NaN where a cell is empty
    """
    parts = []
    for chunk in column.chunks:
        valid, data = chunk.buffers()
        own = slice(chunk.offset, chunk.offset + len(chunk))
        values = np.frombuffer(data, kind)[own].copy() if len(chunk) else np.empty(0, kind)
        if chunk.null_count:
            bits = np.unpackbits(np.frombuffer(valid, np.uint8), bitorder="little")
            values[bits[own] == 0] = np.nan
        parts.append(values)
    return np.concatenate(parts) if parts else np.empty(0, kind)


def number_column(values: np.ndarray, known: np.ndarray) -> Any:
    """Numbers as a pyarrow array; from their memory, since `pyarrow.array` imports pandas whole.

    Parameters
    ----------
    values : (N,) of float
    known : (N,) bool; what is not becomes an empty cell

    Returns
    -------
    pyarrow.Array of float64
    """
    import pyarrow as pa

    valid = None if known.all() else pa.py_buffer(np.packbits(known, bitorder="little").tobytes())
    return pa.Array.from_buffers(
        pa.float64(), len(values), [valid, pa.py_buffer(np.ascontiguousarray(values))]
    )


def _write_parquet(table: Any, partial: Path) -> None:
    import pyarrow.parquet as parquet

    parquet.write_table(table, partial)


def _write_text(table: Any, path: Path, partial: Path) -> None:
    import pyarrow as pa
    from pyarrow import csv

    mark = "\t" if ".tsv" in path.name else ","
    options = csv.WriteOptions(include_header=False, delimiter=mark)
    packed = "gzip" if path.name.endswith(".gz") else None
    with pa.output_stream(str(partial), compression=packed) as stream:
        stream.write((mark.join(table.column_names) + "\n").encode())
        csv.write_csv(table, stream, options)


def _rounded(values: np.ndarray, digits: int) -> np.ndarray:
    """(N,) values rounded to the decimal place that gives the largest of them so many digits."""
    values = np.asarray(values, float)
    largest = np.max(np.abs(values), initial=0.0, where=np.isfinite(values))
    places = digits - 1 - int(np.floor(np.log10(largest))) if largest > 0 else 0
    return np.round(values, min(max(places, 0), 300))
