"""findings.json: what a review found, worst first, as plain data."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

from ..core.findings import SEVERITIES, Finding
from ..errors import InputError
from .plain.atomic_file import whole_file

FILE = "findings.json"
TEXTS = ("kind", "severity", "what", "advice")
NUMBERS = ("start_s", "end_s", "value", "threshold")
KEYS = {field.name for field in fields(Finding)} | {"start_s", "end_s", "stretches_s"}


def write_findings(
    findings: Sequence[Finding], path: str | Path, version: str, caution: str, start_time: str | None = None
) -> None:
    """findings.json, whole or not at all.

    Parameters
    ----------
    findings : in the order to be written
    path : of the file
    version : of bodyfit
    caution : sentence that stands before the findings
    start_time : moment from which start_s and end_s count, ISO 8601; None: not known

    Raises
    ------
    OutputError
        It can't be written.
    """
    begun = {} if start_time is None else {"start_time": start_time}
    told = {"findings": [f.as_data() for f in findings]}
    content = {"bodyfit_version": version, "caution": caution} | begun | told
    with whole_file(Path(path)) as partial:
        partial.write_text(json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n", "utf-8")


def read_findings(path: str | Path) -> tuple[Finding, ...]:
    """The findings of a findings.json, in its order.

    Raises
    ------
    InputError
        The file is missing, or is not one that `bodyfit review` wrote.
    """
    path = Path(path)
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; {_again(path, 'make it')}") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    except ValueError as error:
        raise InputError(f"{path}: not JSON: {error}; {_again(path)}") from None
    listed = content.get("findings") if isinstance(content, dict) else None
    if not isinstance(listed, list):
        raise InputError(
            f"{path}: findings: found {listed!r:.60}, expected a list of objects; {_again(path)}"
        )
    return tuple(_finding(path, number, told) for number, told in enumerate(listed))


def _again(path: Path, what: str = "make it again") -> str:
    return f"{what} with `bodyfit review {path.parent}`"


def _finding(path: Path, number: int, told: Any) -> Finding:
    """One finding; keys that this version does not know are left out."""
    where = f"{path}: findings[{number}]"
    if not isinstance(told, dict):
        raise InputError(f"{where}: found {told!r:.60}, expected an object; {_again(path)}")
    for key in TEXTS:
        if not isinstance(told.get(key), str):
            raise InputError(f"{where}.{key}: found {told.get(key)!r:.60}, expected text; {_again(path)}")
    for key in NUMBERS:
        value = told.get(key)
        if not isinstance(value, (int, float, type(None))) or isinstance(value, bool):
            raise InputError(f"{where}.{key}: found {value!r:.60}, expected a number or null; {_again(path)}")
    spans = told.get("stretches_s") or []
    if not (isinstance(spans, list) and all(_is_span(span) for span in spans)):
        raise InputError(
            f"{where}.stretches_s: found {spans!r:.60}, expected a list of [start, end] in s; {_again(path)}"
        )
    if told["severity"] not in SEVERITIES:
        raise InputError(
            f"{where}.severity: found {told['severity']!r:.60}, expected one of {', '.join(SEVERITIES)}; "
            f"{_again(path)}"
        )
    names = {key: [str(name) for name in told.get(key) or ()] for key in ("units", "segments", "joints")}
    known = {key: value for key, value in told.items() if key in KEYS}
    return Finding.from_data(known | names)


def _is_span(span: Any) -> bool:
    return (
        isinstance(span, list)
        and len(span) == 2
        and all(isinstance(t, (int, float)) and not isinstance(t, bool) for t in span)
    )
