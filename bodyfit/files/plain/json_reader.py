"""A JSON file read strictly: an object, no key twice."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from ...errors import InputError
from .readable import check_readable

MOST_BYTES = 50e6  # of a summary.json: those of the demos take some 100 kB; by reasoning


def read_json_object(path: Path, advice: str) -> dict[str, Any]:
    """The content of a JSON file.

    Parameters
    ----------
    path : of the file
    advice : sentence that ends every refusal

    Raises
    ------
    InputError
        The file is missing, too large or can't be read, is not JSON, or holds no object.
    """
    try:
        check_readable(path, MOST_BYTES)
    except InputError as error:
        raise InputError(f"{error}. {advice}") from None
    try:
        content = json.loads(path.read_text(encoding="utf-8"), object_pairs_hook=_once)
    except FileNotFoundError:
        raise InputError(f"{path}: no such file. {advice}") from None
    except (ValueError, RecursionError) as error:  # not UTF-8, not JSON, a number too long, nested too deep
        raise InputError(f"{path}: not valid JSON: {error}. {advice}") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}. {advice}") from None
    if not isinstance(content, dict):
        raise InputError(f"{path}: found {content!r:.60}, expected an object {{…}}. {advice}")
    return content


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """The pairs as an object; refused where a key stands twice, since one of the values would be lost."""
    out = dict(pairs)
    if len(out) < len(pairs):
        names = [name for name, _ in pairs]
        raise ValueError(f"the key {next(n for n in names if names.count(n) > 1)!r} stands there twice")
    return out
