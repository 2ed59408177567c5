"""findings.json: what a review found, worst first, as plain data."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from ..errors import InputError
from ..finding import Finding
from .whole_file import whole_file

FILE = "findings.json"


def write_findings(findings: Sequence[Finding], path: str | Path, version: str, caution: str) -> None:
    """findings.json, whole or not at all.

    Parameters
    ----------
    findings : in the order to be written
    path : of the file
    version : of bodyfit
    caution : sentence that stands before the findings

    Raises
    ------
    OutputError
        It can't be written.
    """
    content = {"bodyfit_version": version, "caution": caution, "findings": [f.as_data() for f in findings]}
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
        return tuple(Finding.from_data(data) for data in content["findings"])
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; make it with `bodyfit review {path.parent}`") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    except (ValueError, TypeError, KeyError) as error:
        raise InputError(
            f"{path}: not what `bodyfit review` writes ({error}); make it again with `bodyfit review "
            f"{path.parent}`"
        ) from None
