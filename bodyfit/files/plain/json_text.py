"""JSON as text: keys in order, short lists on one line."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

import numpy as np


def json_text(data: Mapping[str, Any]) -> str:
    """The text of a file: keys in order, short lists on one line, what is not finite as null."""
    text = json.dumps(_plain(data), indent=2, sort_keys=True, allow_nan=False, ensure_ascii=False)
    # a list of numbers is easier to read on one line; no string holds a raw line break in JSON
    return re.sub(r'\[\n *([^\[\]{}"]*?)\n *\]', _on_one_line, text) + "\n"


def _on_one_line(found: re.Match[str]) -> str:
    return "[" + re.sub(r"\n *", " ", found[1]) + "]"


def _plain(value: Any) -> Any:
    """The value as JSON knows it: numpy types become Python's, NaN and infinities None."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (set, frozenset)):
        return sorted(_plain(item) for item in value)
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, (np.ndarray, np.generic)):
        return _plain(value.tolist())
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return value
