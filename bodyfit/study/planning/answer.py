"""The answer of a plan, which can write itself."""

from __future__ import annotations

from pathlib import Path

from .files import write_plan
from .result import PlanResult


class Plan(PlanResult):
    """The answer, and what it was chosen from, which can write itself."""

    def write(self, out: str | Path) -> None:
        """Writes plan.csv, plan.json and plan.html to a folder.

        Parameters
        ----------
        out : folder, made if missing

        Raises
        ------
        OutputError
            One can't be written; nothing half-written is left.
        """
        write_plan(self, Path(out))
