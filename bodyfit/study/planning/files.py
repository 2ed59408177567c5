"""A plan as files: one a finished job, so that an interrupted run goes on; then tables and a page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from ...files.finished_work import read_kept, write_files, write_kept
from ...files.plain.csv_text import csv_text
from ...files.plain.json_text import json_text
from .page import plan_page
from .result import PlanResult

JOBS = "jobs"
COLUMNS = (
    "units", "axes", "set", "angle", "tolerance_deg", "bound_deg", "error_deg", "over_tolerance_share",
    "recordings", "met_all", "chance_low", "chance_high", "slips_believed", "answer",
)  # fmt: skip
Found = Sequence[Mapping[str, float]]


def read_job(out: Path, key: str) -> Found | None:
    """What a finished job found, or None: it is to be done. Files of another kind count as none."""
    try:
        data = read_kept(out / JOBS, key)["found"]
        return [{str(name): float(value) for name, value in row.items()} for row in data]
    except (ValueError, KeyError, TypeError, AttributeError):
        return None


def write_job(out: Path, key: str, found: Found) -> None:
    """Keeps what a job found, whole or not at all.

    Raises
    ------
    OutputError
        The file can't be written.
    """
    write_kept(out / JOBS, key, {"found": [dict(row) for row in found]})


def write_plan(plan: PlanResult, out: Path) -> tuple[Path, ...]:
    """Paths of plan.csv, plan.json and plan.html, each now written whole.

    Raises
    ------
    OutputError
        One can't be written.
    """
    content = {
        "plan.csv": plan_csv(plan),
        "plan.json": json_text(plan.as_data()),
        "plan.html": plan_page(plan),
    }
    return write_files(out, content)


def plan_csv(plan: PlanResult) -> str:
    """A row for each set and angle."""
    return csv_text(COLUMNS, _rows(plan))


def _rows(plan: PlanResult) -> Iterator[list[object]]:
    for r in plan.results:
        chance = r.chance if r.trials else (None, None)
        simulated = (r.trials, r.met if r.trials else None, *chance, r.slipped if r.trials else None)
        chosen = "yes" if plan.answer and r.worn == plan.answer.worn else "no"
        for angle, bound in r.bound_deg.items():
            own = (plan.tolerance_deg[angle], bound, r.error_deg.get(angle), r.over.get(angle))
            yield [r.worn.units, r.worn.axes, r.worn.name, angle, *own, *simulated, chosen]
