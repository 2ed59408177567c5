"""The two kinds of text files that a BIDS data set is made of."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any


def write_json(path: Path, data: Mapping[str, Any]) -> None:
    """A JSON file, keys in their order."""
    path.write_text(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")


def write_tsv(path: Path, heading: Sequence[str] | None, columns: Sequence[Any]) -> None:
    """A table parted by tabs, every digit kept, n/a for what is not known; `heading` None: without one."""
    import pandas as pd

    table = pd.DataFrame(dict(enumerate(columns)))
    table.to_csv(path, sep="\t", header=list(heading or ()) or False, index=False, na_rep="n/a")
