"""The search for the smallest set that is enough: ranked by information bound, confirmed by simulation."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

from ...core.progress import Progress
from ...simulation.settings import SimulationSettings
from .answer import Plan
from .question import Question, WornSet, full_set
from .result import best_by_size, rank, smallest_near_best
from .set_result import SetResult, summed_up
from .trial import bound, trial

EXHAUSTIVE = 5  # segments up to which every set is looked at; by reasoning: 31 sets
HOPELESS = 10.0  # times the tolerance: nothing smaller is looked at; chosen; not tried
REACH = 1.0  # times the tolerance: where a bound is larger, a set is no candidate
ALIKE = 3  # candidates of one size that are simulated, best bounds first; chosen; not tried
ROUND, TOGETHER = 12, 3  # recordings simulated before a decision, and in one job; chosen; not tried


@dataclass(frozen=True)
class Job:
    """A piece of work: the bound of a set, or some of its simulated recordings.

    Attributes
    ----------
    worn : the set
    first, count : numbers of the recordings; none: the bound
    """

    worn: WornSet
    first: int = 0
    count: int = 0


Worker = Callable[[Sequence[Job]], Sequence[Sequence[Mapping[str, float]]]]


def done(question: Question, job: Job) -> list[dict[str, float]]:
    """A job done."""
    if not job.count:
        return [bound(question, job.worn)]
    return [trial(question, job.worn, job.first + i) for i in range(job.count)]


def search(
    question: Question,
    work: Worker | None = None,
    progress: Progress | None = None,
    about: Mapping[str, Any] | None = None,
) -> Plan:
    """The smallest set of worn units that meets the tolerances, fewest units first, then fewest axes.

    Parameters
    ----------
    question : motion, tolerances, how good and how well worn the units are
    work : does jobs, in any order, and returns what came of them in theirs; None: one after the other, here
    progress : called as progress(done, total, what)
    about : handed on to the plan

    Returns
    -------
    Plan

    Notes
    -----
    Up to five segments every set's bound is computed; with more, greedy search takes away, again and again,
    the unit or sensor that costs least. Sets whose bound is within the tolerances are simulated from the
    smallest upward, until it is clear whether they meet all of them with the probability asked: until the
    95 % interval of that share lies on one side. A set for which it stays unclear counts as not enough.
    """
    known = _Search(question, work or (lambda jobs: [done(question, j) for j in jobs]), progress or _silent)
    whole = full_set(question)
    exhaustive = len(whole.worn) <= EXHAUSTIVE
    if exhaustive:
        known.bounds(every_set(question))
    path = known.greedy(whole)
    nearest = known.nearest()
    answer = known.confirmed()
    known.simulate(answer or nearest, question.most_seeds)
    for worn in known.best_of_each_size():
        known.simulate(worn, ROUND)
    results = tuple(known.result(w) for w in sorted(known.bound, key=known.size))
    by_set = {r.worn: r for r in results}
    first = by_set[answer or nearest].breaks_first(known.limit)
    return Plan(
        known.limit,
        question.probability,
        results,
        by_set[answer] if answer else None,
        by_set[nearest],
        tuple(path),
        exhaustive,
        {name: math.degrees(found[first]) for name, found in _without(question, answer or nearest).items()},
        about or {},
    )


def _without(question: Question, worn: WornSet) -> dict[str, Mapping[str, float]]:
    """Bounds of a set as asked, and were one kind of error none."""
    settings = question.settings
    firm = dataclasses.replace(settings, soft_tissue_deg_per_g=0.0, soft_tissue_mm_per_g=0.0)
    tissue = {n: getattr(settings, n) for n in ("soft_tissue_deg_per_g", "soft_tissue_mm_per_g")}
    rate = {"sampling_frequency": settings.sampling_frequency, "motion_cutoff": settings.motion_cutoff}
    perfect = SimulationSettings.perfect(**tissue, **rate)
    changes: dict[str, dict[str, Any]] = {
        "as asked": {},
        "mountings exact": {"mounting_sd": 0.0},
        "no soft tissue": {"settings": firm},
        "sensors perfect": {"settings": perfect},
    }
    return {name: bound(dataclasses.replace(question, **change), worn) for name, change in changes.items()}


def every_set(question: Question) -> list[WornSet]:
    """Every set of at least one unit."""
    segments = [s for s in question.motion.model.segments if s in question.segments]
    choices = product((None, *question.kinds), repeat=len(segments))
    worn = [tuple((s, k) for s, k in zip(segments, c, strict=True) if k) for c in choices]
    return [WornSet(w) for w in worn if w]


def _silent(done: int, total: int, what: str) -> None:
    """Says nothing."""


class _Search:
    """What is known so far about each set; asks for more where it is needed."""

    def __init__(self, question: Question, work: Worker, progress: Progress) -> None:
        self.question, self.work, self.progress = question, work, progress
        self.bound: dict[WornSet, Mapping[str, float]] = {}
        self.trials: dict[WornSet, list[Mapping[str, float]]] = {}
        self.limit: dict[str, float] = {}

    def bounds(self, sets: Sequence[WornSet]) -> None:
        """Computes those that are missing."""
        missing = [w for w in dict.fromkeys(sets) if w not in self.bound]
        if missing:
            self.progress(len(self.bound), len(self.bound) + len(missing), "information bounds")
            for worn, (found,) in zip(missing, self.work([Job(w) for w in missing]), strict=True):
                self.bound[worn] = found
        named = {f"{j}.{a}": math.degrees(v) for (j, a), v in self.question.tolerance.items()}
        self.limit = {n: v for n, v in named.items() if n in next(iter(self.bound.values()))}

    def worst(self, worn: WornSet) -> float:
        """Largest share of its tolerance that an angle's bound takes."""
        return max(math.degrees(v) / self.limit[n] for n, v in self.bound[worn].items())

    def size(self, worn: WornSet) -> tuple[int, int, float, str]:
        """What sets are sorted by."""
        return rank(worn, self.worst(worn))

    def greedy(self, whole: WornSet) -> list[WornSet]:
        """The whole set, and from each the next smaller one that costs least."""
        self.bounds([whole])
        path = [whole]
        while (next_ := path[-1].smaller(self.question.kinds)) and self.worst(path[-1]) < HOPELESS:
            self.bounds(next_)
            path.append(min(next_, key=lambda w: (round(self.worst(w), 6), -w.axes, w.name)))
        return path

    def confirmed(self) -> WornSet | None:
        """The smallest candidate that simulation shows to be enough."""
        taken: dict[tuple[int, int], int] = {}
        for worn in sorted((w for w in self.bound if self.worst(w) <= REACH), key=self.size):
            size = (worn.units, worn.axes)
            taken[size] = taken.get(size, 0) + 1
            if taken[size] <= ALIKE and self.enough(worn):
                return worn
        return None

    def enough(self, worn: WornSet) -> bool:
        """Whether it is clear that the set meets the tolerances with the probability asked."""
        p, most = self.question.probability, self.question.most_seeds
        while True:
            self.simulate(worn, min(len(self.trials.get(worn, [])) + ROUND, most))
            low, high = self.result(worn).chance
            if low >= p or high < p or len(self.trials[worn]) >= most:
                return low >= p

    def simulate(self, worn: WornSet, count: int) -> None:
        """Simulates recordings of a set until there are so many."""
        have = self.trials.setdefault(worn, [])
        starts = range(len(have), count, TOGETHER)
        if starts:
            self.progress(len(have), count, f"recordings of {worn.name}")
            for found in self.work([Job(worn, s, min(TOGETHER, count - s)) for s in starts]):
                have += found

    def best_of_each_size(self) -> list[WornSet]:
        """A set for every number of units, see `Plan.best_by`, where there is any hope for it."""
        best = best_by_size(lambda worn: worn.units, {w: self.worst(w) for w in self.bound})
        return [w for w in best.values() if self.worst(w) < HOPELESS]

    def nearest(self) -> WornSet:
        """The smallest set that is almost as good as the best."""
        return smallest_near_best(list(self.bound), {w: self.worst(w) for w in self.bound})

    def result(self, worn: WornSet) -> SetResult:
        """What is known of a set."""
        return summed_up(worn, self.bound[worn], self.trials.get(worn, []), self.question.tolerance)
