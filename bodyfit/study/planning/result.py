"""What a plan found: plain data."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ...core.cards import Card, Shown
from ...version import __version__
from .question import WornSet
from .set_result import SetResult

AS_GOOD = 1.05  # times the best bound: up to there, the smallest set counts as the nearest; chosen; not tried


@dataclass(frozen=True, repr=False)
class PlanResult(Shown):
    """The answer, and what it was chosen from; plain data.

    Attributes
    ----------
    tolerance_deg : "joint.angle" -> degrees; angles next to gimbal lock throughout are left out
    probability : with which all are to be met
    results : every set that was looked at, smallest first
    answer : the smallest set shown to be enough, or None
    nearest : the smallest set whose bound is, against the tolerances, within 5 % of the best
    greedy : sets in the order in which greedy search makes them smaller
    exhaustive : whether every set was looked at, not only those beside the greedy path
    without : of the set shown and the angle that breaks first, degrees: the bound as asked, and were one
        kind of error none
    about : what was assumed, for print and page
    """

    tolerance_deg: Mapping[str, float]
    probability: float
    results: tuple[SetResult, ...]
    answer: SetResult | None
    nearest: SetResult
    greedy: tuple[WornSet, ...]
    exhaustive: bool
    without: Mapping[str, float]
    about: Mapping[str, Any]
    version: str = __version__

    @property
    def shown(self) -> SetResult:
        """The answer, or what comes nearest."""
        return self.answer or self.nearest

    @property
    def in_short(self) -> list[str]:
        """The answer in one to three sentences."""
        shown, share = self.shown, f"{100 * self.probability:g} %"
        first = shown.breaks_first(self.tolerance_deg)
        worn = shown.worn
        size = f"{worn.units} unit{'s' * (worn.units > 1)}, {worn.axes} axes: {worn.name}"
        low, high = (100 * value for value in shown.chance)
        lines = [
            f"Enough with a probability of at least {share}: {size}."
            if self.answer
            else f"No set was shown to be enough with a probability of {share}. Nearest: {size}.",
            f"{shown.met} of {shown.trials} simulated recordings met every tolerance (95 % interval "
            f"{low:.0f} to {high:.0f} %). First to break: {first}, {shown.error_deg[first]:.1f}° of "
            f"{self.tolerance_deg[first]:g}°, over it in {100 * shown.over[first]:.0f} %.",
        ]
        if shown.slipped:
            lines.append(
                f"In {shown.slipped} of them the fit took soft tissue for a unit that had slipped, which "
                "makes errors large; longer recordings or firmer fastening make that rarer."
            )
        return lines

    def _card(self) -> Card:
        headings = (">units", ">axes", ">predicted °", ">simulated °", ">all met %", "breaks first", "set")
        best = self.best_by(lambda worn: worn.units)
        rows = tuple((*r.figures, r.breaks_first(self.tolerance_deg), r.worn.name) for r in best.values())
        return Card(f"Plan: {self.about.get('motion', '')}", tuple(self.in_short), headings, rows)

    def best_by(self, size: Callable[[WornSet], int]) -> dict[int, SetResult]:
        """By size, such as the number of units, the smallest set whose bound is within 5 % of the best."""
        worst = {r.worn: r.worst_bound(self.tolerance_deg) for r in self.results}
        by_set = {r.worn: r for r in self.results}
        return {n: by_set[worn] for n, worn in best_by_size(size, worst).items()}

    def as_data(self) -> dict[str, Any]:
        """As plain mappings, lists and numbers."""
        data = {f.name: getattr(self, f.name) for f in dataclasses.fields(self)}
        data["results"] = [self._row(r) for r in self.results]
        data["answer"] = None if self.answer is None else self._row(self.answer)
        data["nearest"], data["greedy"] = self._row(self.nearest), [w.name for w in self.greedy]
        return {**data, "in_short": self.in_short}

    def _row(self, result: SetResult) -> dict[str, Any]:
        worn = {segment: list(sensors) for segment, sensors in result.worn.worn}
        return {
            "units": result.worn.units,
            "axes": result.worn.axes,
            **dataclasses.asdict(result),
            "worn": worn,
            "breaks_first": result.breaks_first(self.tolerance_deg),
        }


def best_by_size(size: Callable[[WornSet], int], worst: Mapping[WornSet, float]) -> dict[int, WornSet]:
    """By size, the smallest set whose worst bound is within 5 % of the best of that size."""
    by_size: dict[int, list[WornSet]] = {}
    for worn in worst:
        by_size.setdefault(size(worn), []).append(worn)
    return {n: smallest_near_best(by_size[n], worst) for n in sorted(by_size)}


def smallest_near_best(sets: Sequence[WornSet], worst: Mapping[WornSet, float]) -> WornSet:
    """The smallest of the sets whose worst bound is within 5 % of the best of them."""
    limit = AS_GOOD * min(worst[worn] for worn in sets)
    return min((w for w in sets if worst[w] <= limit), key=lambda w: rank(w, worst[w]))


def rank(worn: WornSet, worst: float) -> tuple[int, int, float, str]:
    """What sets are sorted by: fewest units, fewest axes, best bound."""
    return worn.units, worn.axes, round(worst, 6), worn.name
