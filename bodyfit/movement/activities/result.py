"""What was told of activities: the timeline, probabilities, shares of time, and how it came about."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ...core.cards import Card, Shown, decimals
from ...core.findings import Finding, Findings, counted_findings
from .chain.timeline import ActivityStretch, Share

CAUTION = (
    "Activities are told by likeness to other people's movement. Not a fall detector, not a medical device; "
    "nothing that someone's safety depends on may hang on them."
)
HEADINGS = ("activity", ">stretches", ">seconds", ">share %", ">± %")


@dataclass(frozen=True, eq=False, repr=False)
class Activities(Shown):
    """Activities over time.

    Attributes
    ----------
    stretches : in the order of time, without holes
    time : (T,) s, middles of the windows that were judged
    names : of the activities, n of them
    probabilities : (T, n), rows sum to one
    shares : activity -> part of the time with its standard deviation; empty where rules told the activities
    source : what they were told from, e.g. "one unit at the waist: phone" or "body: thighs, trunk, feet"
    findings : what to be wary of
    """

    stretches: tuple[ActivityStretch, ...]
    time: np.ndarray
    names: tuple[str, ...]
    probabilities: np.ndarray
    shares: Mapping[str, Share]
    source: str
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "findings", Findings(self.findings))

    def _card(self) -> Card:
        facts = (f"told from {self.source}", f"findings {counted_findings(self.findings)}")
        return Card("Activities", facts, HEADINGS, self.summed())

    def summed(self) -> tuple[tuple[str, ...], ...]:
        """Cells of a table, as `HEADINGS` heads it, a row an activity."""
        rows, whole = [], sum(s.end - s.start for s in self.stretches)
        for name in self.names:
            own = [s.end - s.start for s in self.stretches if s.activity == name]
            if own:
                told = self.shares.get(name)
                part, sd = (
                    (100 * sum(own) / whole, None) if told is None else (100 * told.value, 100 * told.sd)
                )
                rows.append((name, str(len(own)), f"{sum(own):.1f}", f"{part:.1f}", decimals(sd, 1)))
        return tuple(rows)

    def to_frame(self) -> Any:
        """The timeline as a table.

        Returns
        -------
        pandas.DataFrame with start_s, end_s, activity, probability, one row a stretch
        """
        from ...files.movement.column_tables import frame

        return frame(self.columns())

    def columns(self) -> dict[str, np.ndarray]:
        """The columns of activities.csv, (stretches,) each."""
        return {
            "start_s": np.array([stretch.start for stretch in self.stretches], float),
            "end_s": np.array([stretch.end for stretch in self.stretches], float),
            "activity": np.array([stretch.activity for stretch in self.stretches], object),
            "probability": np.array([stretch.probability for stretch in self.stretches], float),
        }

    def write(self, out: str | Path) -> None:
        """Writes activities.csv to a folder.

        Parameters
        ----------
        out : folder, made if missing

        Raises
        ------
        OutputError
            It can't be written.
        """
        from ...files.movement.activities_file import write_activities

        write_activities(self.columns(), out)
