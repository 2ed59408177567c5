"""A plan as files: one a finished job, so that an interrupted run goes on; then tables and a page."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path

from ..errors import InputError, suggest
from ..planning_search import Plan
from ..simulation_settings import SimulationSettings
from .kept import read_kept, write_files, write_kept
from .outputs import summary_text
from .plan_page import plan_page
from .simulation_file import read_settings

JOBS = "jobs"
COLUMNS = (
    "units", "axes", "set", "angle", "tolerance_deg", "bound_deg", "error_deg", "over_tolerance_share",
    "recordings", "met_all", "chance_low", "chance_high", "slips_believed", "answer",
)  # fmt: skip

Found = Sequence[Mapping[str, float]]


def grades_folder() -> Path:
    """Folder of the grades that come with bodyfit: inside the installed package, or beside a checkout's."""
    package = Path(__file__).resolve().parents[1]
    return package / "grades" if (package / "grades").is_dir() else package.parent / "grades"


def grade_names() -> list[str]:
    """Names of the grades that come with bodyfit."""
    return sorted(path.stem for path in grades_folder().glob("*.toml"))


def read_grade(name_or_path: str) -> SimulationSettings:
    """How good units are, by name or from a file as for `bodyfit simulate --settings`.

    Raises
    ------
    InputError
        There is no such grade, or its file is wrong.
    """
    if name_or_path in grade_names():
        return read_settings(grades_folder() / f"{name_or_path}.toml")
    if Path(name_or_path).is_file():
        return read_settings(name_or_path)
    raise InputError(
        f"grade: no {name_or_path!r}, neither a name nor a file; {suggest(name_or_path, grade_names())}"
    )


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


def write_plan(plan: Plan, out: Path) -> tuple[Path, ...]:
    """Paths of plan.csv, plan.json and plan.html, each now written whole.

    Raises
    ------
    OutputError
        One can't be written.
    """
    content = {
        "plan.csv": plan_csv(plan),
        "plan.json": summary_text(plan.as_data()),
        "plan.html": plan_page(plan),
    }
    return write_files(out, content)


def plan_csv(plan: Plan) -> str:
    """A row for each set and angle."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for r in plan.results:
        chance = r.chance if r.trials else (None, None)
        simulated = (r.trials, r.met if r.trials else None, *chance, r.slipped if r.trials else None)
        chosen = "yes" if plan.answer and r.worn == plan.answer.worn else "no"
        for angle, bound in r.bound_deg.items():
            own = (plan.tolerance_deg[angle], bound, r.error_deg.get(angle), r.over.get(angle))
            writer.writerow([r.worn.units, r.worn.axes, r.worn.name, angle, *own, *simulated, chosen])
    return text.getvalue()
