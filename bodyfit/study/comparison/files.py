"""A comparison as files: one a finished case, so that an interrupted run goes on; then tables and a page."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path

from ...files.finished_work import read_kept, write_files, write_kept
from ...files.plain.csv_text import csv_text
from ...files.plain.json_text import json_text
from ..accuracy.scores import Score
from .page import comparison_page
from .result import CaseResult, ComparisonResult

CASES = "cases"
FIGURES = tuple(field.name for field in dataclasses.fields(Score))
COLUMNS = (
    *("sensors", "body", "left_out", "kind", "name"),
    *FIGURES,
    *("clock_offset_s", "seconds", "refused"),
)


def read_case(out: Path, key: str) -> CaseResult | None:
    """The case that was finished under this key, or None: it is to be run.

    A file that is not what `write_case` writes counts as none.
    """
    try:
        return CaseResult.from_data(read_kept(out / CASES, key))
    except (KeyError, TypeError, AttributeError):
        return None


def write_case(out: Path, key: str, result: CaseResult) -> None:
    """Keeps a finished case, whole or not at all.

    Raises
    ------
    OutputError
        The file can't be written.
    """
    write_kept(out / CASES, key, result.as_data())


def write_comparison(comparison: ComparisonResult, out: Path) -> tuple[Path, ...]:
    """Paths of comparison.csv, comparison.json and comparison.html, each now written whole.

    Raises
    ------
    OutputError
        One can't be written.
    """
    content = {
        "comparison.csv": comparison_csv(comparison),
        "comparison.json": json_text(comparison.as_data()),
        "comparison.html": comparison_page(comparison),
    }
    return write_files(out, content)


def comparison_csv(comparison: ComparisonResult) -> str:
    """A row for each case and joint, with its kind; "all" is the mean over the joints, a refusal has one row.

    Kinds: all, joint, gap (two segments that only segments without a unit lie between), inferred (a segment
    without a unit, in the world).
    """
    return csv_text(COLUMNS, (row for result in comparison.results for row in _rows(result)))


def _rows(result: CaseResult) -> Iterator[list[object]]:
    case = result.case
    about = ["+".join(case.sensors), "yes" if case.body else "no", " ".join(case.leave_out)]
    kinds = {
        "all": {"": result.overall},
        "joint": result.joints,
        "gap": result.across,
        "inferred": result.inferred,
    }
    for kind, scores in kinds.items():
        for name, score in scores.items():
            figures = [None if score is None else getattr(score, figure) for figure in FIGURES]
            yield [*about, kind, name, *figures, result.clock_offset_s, result.seconds, result.refused]
