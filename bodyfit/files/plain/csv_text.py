"""A table as comma-separated text."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """The table's text: names, then the rows; an empty cell where a value is None.

    Parameters
    ----------
    columns : names
    rows : one value a column

    Returns
    -------
    text, quoted where RFC 4180 asks for it, lines ended by a line feed
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue()
