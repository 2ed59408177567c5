"""How a text table is written: what parts its cells, its decimal sign, and the lines before its header."""

from __future__ import annotations

import csv
import gzip
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

SEPARATORS = ("\t", ";", "|", ",", " ")
DECIMALS = (".", ",")
LINES_LOOKED_AT = 200  # common practice: preambles are some ten lines, the rest shows the rows
BYTES_LOOKED_AT = 1_000_000  # 200 lines of 5000 characters (by reasoning)
PIECE = 1 << 14  # bytes read at a time: 200 lines of most tables (by reasoning)
NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?|[nN]a[nN]|")
MOMENT = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d.*")


@dataclass(frozen=True)
class Dialect:
    """What a text table's reader has to know; None: to be found in the file.

    Attributes
    ----------
    separator : one of SEPARATORS
    decimal : "." or ","
    skip_rows : lines before the header
    columns : found: cells of the longest of the first lines
    """

    separator: str | None = None
    decimal: str | None = None
    skip_rows: int | None = None
    columns: int = 0


def found_dialect(path: Path, given: Dialect) -> Dialect:
    """What is given, and the rest as the first lines of the file show it.

    Parameters
    ----------
    path : of a text table, gzipped where its name ends in .gz
    given : what setup.toml says

    Returns
    -------
    Dialect with every part known; where the lines show nothing, that of the file's name (tabs for .tsv,
    commas for others, decimal point, no line before the header)
    """
    lines = first_lines(path)
    usual = "\t" if ".tsv" in path.name.lower() else ","
    separator = given.separator or _separator(lines[given.skip_rows or 0 :], usual)
    rows = [_cells(line, separator) for line in lines]
    numeric = [_is_data(row) for row in rows]
    first = _first_row(rows, numeric, _usual_count(rows))
    skip = given.skip_rows
    if skip is None:
        skip = _header(rows, numeric, first)
    below = max(first, skip + 1)
    data = [row for row, good in zip(rows[below:], numeric[below:], strict=True) if good]
    columns = max(map(len, rows), default=0)
    return Dialect(separator, given.decimal or _decimal(data, separator), skip, columns)


def first_lines(path: Path) -> list[str]:
    """The first LINES_LOOKED_AT lines of a text file, packed or not."""
    packed = path.name.lower().endswith(".gz")
    with gzip.open(path) if packed else path.open("rb") as file:
        start = b""
        while more := file.read(PIECE):
            start += more
            if start.count(b"\n") >= LINES_LOOKED_AT or len(start) >= BYTES_LOOKED_AT:
                start = start[: start.rfind(b"\n") + 1] or start  # without the part of a line at the end
                break
    lines = start.decode("utf-8-sig", "replace").split("\n")
    whole = lines if lines[-1] else lines[:-1]
    return [line.rstrip("\r") for line in whole[:LINES_LOOKED_AT]]


def _cells(line: str, separator: str) -> list[str]:
    if line and '"' not in line:  # most lines, for which a reader of quoted cells is slow
        return [cell.strip() for cell in line.split(separator)]
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [""])]
    except csv.Error:  # a cell beyond the reader's limit, a null byte
        return line.split(separator)


def _separator(lines: list[str], usual: str) -> str:
    """The first separator that parts the later half of the lines into equally many numbers, two or more."""
    later = [line for line in lines[len(lines) // 2 :] if line.strip()]
    for separator in (usual, *SEPARATORS) if usual == "\t" else SEPARATORS:
        if not all(separator in line for line in later):
            continue
        rows = [_cells(line, separator) for line in later]
        counts = {len(row) for row in rows}
        if len(counts) == 1 and min(counts) > 1 and all(map(_is_data, rows)):
            return separator
    return usual


def _usual_count(rows: list[list[str]]) -> int:
    later = Counter(len(row) for row in rows[len(rows) // 2 :])
    return later.most_common(1)[0][0] if later else 0


def _is_data(row: list[str]) -> bool:
    """Whether most cells are numbers, moments or empty, and one is a number."""
    filled = [cell for cell in row if cell]
    good = len([cell for cell in filled if NUMBER.fullmatch(cell) or MOMENT.fullmatch(cell)])
    return good > 0 and 2 * good > len(filled)


def _first_row(rows: list[list[str]], numeric: list[bool], count: int) -> int:
    """Index of the first line from which on every line holds as many cells as a row, and numbers."""
    first = len(rows)
    while first > 0 and (rows[first - 1] == [""] or (len(rows[first - 1]) == count and numeric[first - 1])):
        first -= 1
    return first


def _header(rows: list[list[str]], numeric: list[bool], first: int) -> int:
    """Index of the header: the last line before the rows that holds words; 0 where there is no row."""
    if first >= len(rows):
        return 0
    return next((k for k in range(first - 1, -1, -1) if rows[k] != [""] and not numeric[k]), 0)


def _decimal(data: list[list[str]], separator: str) -> str:
    """A comma where cells have commas and none of the numbers a point."""
    numbers = [cell for row in data for cell in row if NUMBER.fullmatch(cell)]
    comma = any("," in cell for cell in numbers) and not any("." in cell for cell in numbers)
    return "," if comma and separator != "," else "."
