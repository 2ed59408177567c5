"""TOML text of plain values, for the files that bodyfit writes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime

import numpy as np


def toml_value(value: object) -> str:
    """A value as it stands to the right of `=`: text, number, truth, date, list, inline table, array."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{toml_key(k)} = {toml_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple | np.ndarray):
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    return repr(value) if isinstance(value, int) else repr(float(value))  # type: ignore[arg-type]


def toml_key(key: str) -> str:
    """A key, quoted only where it must be."""
    bare = key.isascii() and key.replace("-", "_").replace("_", "a").isalnum()
    return key if bare else toml_value(key)


def toml_section(header: str, values: Mapping[str, object]) -> str:
    """Lines of one table; keys whose value is None or an empty text, list or table are left out.

    Parameters
    ----------
    header : with its brackets, e.g. "[person]"; blank for the top of the file
    values : key -> value
    """
    kept = {
        k: v for k, v in values.items() if not (v is None or (isinstance(v, str | Mapping | tuple) and not v))
    }
    lines = [header] * bool(header) + [
        f"{toml_key(key)} = {toml_value(value)}" for key, value in kept.items()
    ]
    return "\n".join(lines) + "\n"
