"""What a comparison found: plain data."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from ...core.cards import NONE, Card, Shown, decimals
from ...version import __version__
from ..accuracy.recording_conditions import Circumstances
from ..accuracy.scores import Score
from .cases import Case

ERRORS = (">RMS °", ">median °", ">95 % °", ">in 95 % band %")
CLOSE_DEG = 1.0  # within which an error counts as close to the least one


@dataclass(frozen=True, repr=False)
class CaseResult(Shown):
    """What came of one case; plain data.

    Attributes
    ----------
    case : that was run
    joints : joint -> how far its rotation is from the reference's
    overall : mean over the joints, axis and its errors taken over all of them; None: refused
    across : "<upper> to <lower>" -> the same for two segments that only segments without a unit lie between
    inferred : segment without a unit -> the same for its rotation in the world, headings made to agree
    curve : "time_s" and "all", each joint by name -> root mean square error in degrees, by stretch of time
    parts : of `curve["all"]`, "heading", "inclination", "about field", "across field", as far as known
    figure : the motion to play, see `moving_figure`, its root turned as the reference's; empty: none
    clock_offset_s : taken off the reference's clock
    seconds : that it took
    refused : why there is no solution; empty: there is one
    """

    case: Case
    joints: Mapping[str, Score] = field(default_factory=dict)
    overall: Score | None = None
    across: Mapping[str, Score] = field(default_factory=dict)
    inferred: Mapping[str, Score] = field(default_factory=dict)
    curve: Mapping[str, Sequence[float | None]] = field(default_factory=dict)
    parts: Mapping[str, Sequence[float | None]] = field(default_factory=dict)
    figure: Mapping[str, list] = field(default_factory=dict)
    clock_offset_s: float = 0.0
    seconds: float = 0.0
    refused: str = ""

    def as_data(self) -> dict[str, Any]:
        """As plain mappings, lists and numbers."""
        return dataclasses.asdict(self)

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> CaseResult:
        """The result that `as_data` wrote; KeyError or TypeError where it is something else."""
        case = data["case"]
        parts = {
            "case": Case(tuple(case["sensors"]), case["body"], tuple(case["leave_out"])),
            **{kind: _scores(data[kind]) for kind in ("joints", "across", "inferred")},
            "overall": None if data["overall"] is None else Score(**data["overall"]),
        }
        return cls(**{**data, **parts})

    def _card(self) -> Card:
        found = {**self.joints, **self.across, **self.inferred}
        rows = tuple((name, *_errors(score)) for name, score in found.items())
        whole = () if self.overall is None else (("all joints", *_errors(self.overall)),)
        facts = (f"refused: {self.refused}",) if self.refused else ()
        return Card(self.case.name, facts, ("of", *ERRORS), (*whole, *rows))


@dataclass(frozen=True, repr=False)
class ComparisonResult(Shown):
    """All cases of one recording.

    Attributes
    ----------
    title : of the capture
    against : what errors are counted from
    to_truth : whether that is a reference; else it is the full solution
    results : one a case, in the order of the cases
    parts : of the body, see `parts_of`, to draw every figure with; empty: none is drawn
    truth : the reference's figure, as those of the results; empty: it can't be drawn
    meanwhile : shaking and field over time; None: unknown
    version : of bodyfit
    """

    title: str
    against: str
    to_truth: bool
    results: tuple[CaseResult, ...]
    parts: Sequence[Mapping[str, Any]] = ()
    truth: Mapping[str, list] = field(default_factory=dict)
    meanwhile: Circumstances | None = None
    version: str = __version__

    def as_data(self) -> dict[str, Any]:
        """As plain mappings, lists and numbers, without the figures, which are for the page."""
        data = {name: getattr(self, name) for name in ("title", "against", "to_truth", "version")}
        results = [dataclasses.replace(result, figure={}).as_data() for result in self.results]
        return {**data, "in_short": self.in_short, "results": results}

    def _card(self) -> Card:
        rows = tuple((*_ways(result), *_errors(result.overall)) for result in self.results)
        title = f"Comparison: {self.title or 'no title'}, against {self.against}"
        return Card(title, (self.in_short,), ("sensors", "body", "without", *ERRORS), rows)

    @property
    def in_short(self) -> str:
        """The set that errs least, and what else comes close to it; empty where there is no solution."""
        whole = [r for r in self.results if r.overall is not None and not r.case.leave_out]
        if not self.to_truth:
            whole = [r for r in whole if r.case != self.full]
        if not whole:
            return ""
        ranked = sorted(whole, key=lambda r: r.overall.rmse_deg)  # type: ignore[union-attr]
        best, limit = ranked[0], ranked[0].overall.rmse_deg + CLOSE_DEG  # type: ignore[union-attr]
        near = [_with_error(r) for r in ranked[1:] if r.overall.rmse_deg <= limit]  # type: ignore[union-attr]
        first = "Least error" if self.to_truth else "Nearest to the full solution"
        close = (
            f"Within {CLOSE_DEG:g}° of that: {'; '.join(near)}."
            if near
            else "None else comes within 1° of that."
        )
        return f"{first}: {_with_error(best)}. {close}"

    @property
    def full(self) -> Case | None:
        """The case with every sensor and unit, with the body."""
        whole = [r.case for r in self.results if r.case.body and not r.case.leave_out]
        return max(whole, key=lambda case: len(case.sensors), default=None)


def _errors(score: Score | None) -> tuple[str, ...]:
    """Cells of a table, as `ERRORS` heads them."""
    if score is None:
        return ("refused", NONE, NONE, NONE)
    share = None if score.band_share is None else 100 * score.band_share
    errors = (score.rmse_deg, score.median_deg, score.p95_deg)
    return (*(decimals(error, 2) for error in errors), decimals(share, 0))


def _scores(data: Mapping[str, Any]) -> dict[str, Score]:
    return {name: Score(**score) for name, score in data.items()}


def _ways(result: CaseResult) -> tuple[str, ...]:
    case = result.case
    return case.short, "yes" if case.body else "alone", ", ".join(case.leave_out) or NONE


def _with_error(result: CaseResult) -> str:
    body = "with the body" if result.case.body else "alone"
    return f"{result.case.in_full}, {body}: {result.overall.rmse_deg:.2f}°" if result.overall else ""
