"""findings.json: what a review found, worst first, as plain data."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ..core.findings import SEVERITIES, Finding
from ..errors import suggest
from .plain.atomic_file import whole_file
from .plain.json_reader import read_json_object
from .plain.records import Place, from_plain

FILE = "findings.json"
NEEDED = ("kind", "severity", "what", "advice")
KINDS: dict[str, Any] = {
    **dict.fromkeys((*NEEDED, "measure", "source", "handled"), str),
    **dict.fromkeys(("units", "segments", "joints"), tuple[str, ...]),
    **dict.fromkeys(("start_s", "end_s", "value", "threshold"), float | None),
    "harm_deg": float,
    "stretches_s": tuple[tuple[float, float], ...],
}


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
    advice = f"Make it with `bodyfit review {path.parent}`"
    content = read_json_object(path, advice)
    return findings_of(content.get("findings"), Place(path, advice, "findings"))


def findings_of(data: Any, place: Place) -> tuple[Finding, ...]:
    """Findings from JSON, in its order.

    Parameters
    ----------
    data : a list of what `Finding.as_data` gives; keys that this version does not know are left out
    place : where it stands

    Raises
    ------
    InputError
        It is not a list of findings; names file and key.
    """
    listed = from_plain(tuple[dict[str, Any], ...], data, place)
    return tuple(_finding(told, place.at(number)) for number, told in enumerate(listed))


def _finding(told: dict[str, Any], place: Place) -> Finding:
    """One finding."""
    for key, kind in KINDS.items():
        if key in told:
            from_plain(kind, told[key], place.of(key))
        elif key in NEEDED:
            place.of(key).refuse("this key is missing")
    if told["severity"] not in SEVERITIES:
        place.of("severity").refuse(
            f"found {told['severity']!r:.60}; {suggest(told['severity'], SEVERITIES)}"
        )
    return Finding.from_data({key: value for key, value in told.items() if key in KINDS})
