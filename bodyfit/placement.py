"""Which unit is where: assignments of units to segments, ranked by what the motion says."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from .body import BodyModel, Person
from .capture import Calibration, Unit
from .errors import CannotReconstructError
from .finding import Finding
from .pair_fit import PairTable, Stretch, most_motion, pair_table
from .placement_evidence import Evidence, Tree, base_scores, evidence, side_score, tree_of
from .placement_search import worth_scoring
from .rotations import apply
from .start import UP
from .unaided import Unaided, unaided

SURE = 0.95  # probability from which a placement is taken for found
CLOSE = 40.0  # log-likelihood below the best from which left and right are not looked at any more
KEPT = 20  # candidates in the result


@dataclass(frozen=True)
class Candidate:
    """One assignment: unit -> segment, its probability among all that were looked at.

    Attributes
    ----------
    segments : unit name -> segment name
    probability : from the motion alone, every assignment taken for equally likely beforehand
    log_likelihood : against units that have nothing to do with each other
    mounting_of_place : stated mountings fit better as those of the places than as those of the units
    """

    segments: Mapping[str, str]
    probability: float
    log_likelihood: float
    mounting_of_place: bool = False


@dataclass(frozen=True)
class Placement:
    """Where each unit is worn, as far as the motion shows.

    Attributes
    ----------
    candidates : most probable first, at most 20, and the given one
    given : unit name -> segment as given, None where it was not said
    given_rank : place of the given assignment, 1 for the most probable; None when a unit had no segment
    given_probability : its probability, 0 when a unit had no segment
    compared : number of assignments looked at
    findings : what to say about it
    """

    candidates: tuple[Candidate, ...]
    given: Mapping[str, str | None]
    given_rank: int | None
    given_probability: float
    compared: int
    findings: tuple[Finding, ...] = ()

    @property
    def best(self) -> Candidate:
        """The most probable assignment."""
        return self.candidates[0]

    def probabilities(self, unit: str) -> dict[str, float]:
        """Segment -> probability that a unit is worn there, over the candidates, most probable first."""
        out: dict[str, float] = {}
        for candidate in self.candidates:
            segment = candidate.segments[unit]
            out[segment] = out.get(segment, 0.0) + candidate.probability
        return dict(sorted(out.items(), key=lambda item: -item[1]))


def find_placement(
    units: Sequence[Unit],
    model: BodyModel,
    person: Person | None = None,
    calibrations: Sequence[Calibration] = (),
    alone: Unaided | None = None,
) -> Placement | None:
    taking_part = [u for u in units if {"accelerometer", "gyroscope"} <= u.sensors]
    if len(taking_part) < 2 or not model.joints:
        return None
    alone = alone or unaided(taking_part)
    stretch = most_motion(alone)
    pairs = pair_table(stretch)
    tree = tree_of(model, person)
    at = {segment: index for index, segment in enumerate(tree.segments)}
    given = np.full(len(tree.segments), len(taking_part))
    for index, unit in enumerate(taking_part):
        if unit.segment is not None:
            given[at[unit.segment]] = index
    up = _up(alone, calibrations, len(taking_part))
    knowns = [evidence(tree, stretch, pairs, m, up) for m in _mountings(taking_part, given)]
    rows = np.concatenate([worth_scoring(known, given) for known in knowns[:1]])
    scores = np.stack([_scores(known, rows) for known in knowns])
    return _placement(taking_part, tree, rows, scores)


def _mountings(units: Sequence[Unit], given: np.ndarray) -> list[dict[tuple[int, int], np.ndarray]]:
    """(segment, unit) -> segment_from_unit: as each unit's own, and as its place's where that differs."""
    stated = {u: Rotation.from_quat(x.mounting).as_matrix() for u, x in enumerate(units) if x.mounting is not None}
    S = range(len(given))
    own = {(s, u): M for u, M in stated.items() for s in S}
    of_place = {(s, u): stated[given[s]] for s in S if given[s] in stated for u in range(len(units))}
    return [own, of_place] if stated else [own]


def _up(alone: Unaided, calibrations: Sequence[Calibration], count: int) -> list[np.ndarray | None]:
    """Per unit, up in its frame in the first declared neutral pose, or None."""
    for pose in calibrations:
        inside = (alone.time >= pose.start) & (alone.time <= pose.end)
        if pose.kind == "still" and pose.pose == "neutral" and inside.any():
            up = alone.R[inside, :, 1].mean(0)
            return list(up / np.linalg.norm(up, axis=-1, keepdims=True))
    return [None] * count


def _scores(known: Evidence, rows: np.ndarray) -> np.ndarray:
    scores = base_scores(known, rows)
    for index in np.flatnonzero(scores > scores.max() - CLOSE):
        scores[index] += side_score(known, rows[index])
    return scores


def _placement(units, tree, rows, scores):
    total = np.logaddexp.reduce(scores, axis=0) - np.log(len(scores))
    prob = np.exp(total - total.max()); prob /= prob.sum()
    order = np.argsort(-total, kind="stable")
    given = {u.name: u.segment for u in units}
    cands=[]; rank=None; gp=0.
    for r,i in enumerate(order):
        seg={units[u].name: tree.segments[s] for s,u in enumerate(rows[i]) if u<len(units)}
        own = seg==given
        if own: rank=r+1; gp=prob[i]
        if r<KEPT or own: cands.append(Candidate(seg,float(prob[i]),float(total[i]), len(scores)>1 and scores[1,i]>scores[0,i]))
    return Placement(tuple(cands),given,rank,float(gp),len(rows))
