"""What a search for repetitions comes to: each with its time and distance, counts, curves, findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ...core.cards import Card, Shown, counted
from ...core.findings import Finding, Findings, counted_findings
from ..cycles.curves import Cycles, columns_of

CAUTION = (
    "Repetitions tell how alike movements are, not whether they are done rightly or safely. bodyfit is not a "
    "medical device: no return to work or sport is decided on these figures without a licensed professional."
)
LIKELY = 0.5  # probability from which a find is told as sure: more likely it than not; by definition
HEADINGS = ("movement", ">start s", ">end s", ">distance", ">probability", "stands out by")


@dataclass(frozen=True)
class Repetition:
    """One time that a movement was done.

    Attributes
    ----------
    start, end : s of the recording's clock
    movement : name
    distance : 0 the same as the movement, 1 no nearer than standing still; found ones lie below 0.6
    probability : that it is this movement rather than another or none, from the distances of all
    duration_ratio : its length over the median of the movement
    amplitude_ratio : its size over the median of the movement
    odd : which of "distance", "duration", "amplitude" stand out from the others of the movement
    """

    start: float
    end: float
    movement: str
    distance: float
    probability: float
    duration_ratio: float = 1.0
    amplitude_ratio: float = 1.0
    odd: tuple[str, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether it is more likely this movement than another or none."""
        return self.probability >= LIKELY

    @property
    def cells(self) -> tuple[str, ...]:
        """What a table shows of it, as `HEADINGS` heads it."""
        figures = (self.start, self.end, self.distance, self.probability)
        words = self.odd if self.sure else ("not sure", *self.odd)
        return (self.movement, *(f"{value:.2f}" for value in figures), ", ".join(words))


@dataclass(frozen=True, eq=False, repr=False)
class Repetitions(Shown):
    """All repetitions of a recording.

    Attributes
    ----------
    found : in the order of time
    counted : movement -> how often; without examples this includes what the ends of the recording cut
    explained : movement -> share of what moves in the recording that its repetitions account for, 0 to 1
    curves : movement -> joint angles over 0 to 100 %; empty for a capture, whose joints are not known
    findings : most harmful first
    """

    found: tuple[Repetition, ...]
    counted: Mapping[str, int]
    explained: Mapping[str, float]
    curves: Mapping[str, Cycles] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "findings", Findings(self.findings))

    def _card(self) -> Card:
        shares = {name: f"{100 * self.explained[name]:.0f} % of what moves" for name in self.counted}
        told = tuple(f"{name}: {self.in_words(name)}, {shares[name]}" for name in self.counted)
        facts = (*told, f"findings {counted_findings(self.findings)}")
        return Card("Repetitions", facts, HEADINGS, tuple(one.cells for one in self.found))

    def in_words(self, name: str) -> str:
        """How often a movement was found, and how many of these are not sure."""
        unsure = sum(one.movement == name and not one.sure for one in self.found)
        told = counted(self.counted[name], "repetition")
        return f"{told}, {unsure} of them not sure" if unsure else told

    @property
    def odd(self) -> tuple[Repetition, ...]:
        """Those that stand out from the others of their movement."""
        return tuple(repetition for repetition in self.found if repetition.odd)

    def columns(self) -> dict[str, np.ndarray]:
        """Column of repetitions.csv -> (n,) array."""
        names = {"start_s": "start", "end_s": "end", "movement": "movement"}
        names |= {"distance": "distance", "probability": "probability"}
        kinds = {"movement": object}
        return {
            column: np.array([getattr(one, name) for one in self.found], kinds.get(column, float))
            for column, name in names.items()
        }

    def cycle_columns(self) -> dict[str, np.ndarray]:
        """Column of cycles.csv -> (101 × movements,) array."""
        return columns_of(list(self.curves.values()))

    def to_frame(self) -> Any:
        """The repetitions as a pandas table, one row each.

        Returns
        -------
        pandas.DataFrame with the columns of repetitions.csv, the two ratios, and what is odd
        """
        from ...files.movement.column_tables import frame

        more = {
            "duration_ratio": np.array([one.duration_ratio for one in self.found], float),
            "amplitude_ratio": np.array([one.amplitude_ratio for one in self.found], float),
            "odd": np.array([" ".join(one.odd) for one in self.found], object),
        }
        return frame(self.columns() | more)

    def cycles_frame(self) -> Any:
        """The curves as a pandas table, 101 rows a movement.

        Returns
        -------
        pandas.DataFrame with the columns of cycles.csv
        """
        from ...files.movement.column_tables import frame

        return frame(self.cycle_columns())

    def write(self, out: str | Path) -> tuple[Path, ...]:
        """Writes repetitions.csv, repetitions.json (counts, odd ones, findings) and, of a fit, cycles.csv.

        Parameters
        ----------
        out : folder, made if missing; other files in it are left alone

        Returns
        -------
        tuple of Path, of the files written

        Raises
        ------
        OutputError
            It can't be written; no file is left half-written.
        """
        from ...files.movement.repetitions_folder import write_repetitions

        return write_repetitions(self, out, CAUTION)
