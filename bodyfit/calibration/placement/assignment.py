"""Which unit is where: assignments of units to segments, ranked by what the motion says."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from ...body.chain import BodyModel
from ...body.person import Person
from ...errors import CannotReconstructError, InputError, suggest
from ...recording.capture import Calibration, Unit
from ...recording.single_units import Unaided, unaided
from .assignment_search import worth_scoring
from .body_tree import Tree, tree_of
from .joint_likelihood import Evidence, base_scores, evidence
from .pair_agreement import most_motion, pair_table
from .side_likelihood import side_score

SURE = 0.95  # probability from which a place is taken for found; common practice
# probability below which a place as said is taken for wrong: people are mostly right; chosen; not tried
WRONG = 0.03
# left and right are looked at within so much log-likelihood, so many at most; chosen; not tried
CLOSE, CLOSEST = 40.0, 300
KEPT = 20  # candidates in the result; by reasoning: as many as somebody reads


@dataclass(frozen=True)
class Candidate:
    """One assignment: unit -> segment, its probability among all that were looked at.

    Attributes
    ----------
    segments : unit name -> segment name
    probability : from the motion alone, every assignment taken for equally likely beforehand
    mounting_of_place : stated mountings fit better as those of the places than as those of the units
    """

    segments: Mapping[str, str]
    probability: float
    mounting_of_place: bool = False


@dataclass(frozen=True)
class Placement:
    """Where each unit is worn, as far as the motion shows.

    Attributes
    ----------
    candidates : most probable first, at most 20, and the given one
    given : unit name -> segment as given, None where it was not said
    compared : number of assignments looked at
    places : unit name -> segment -> probability, over all that were looked at, most probable first
    """

    candidates: tuple[Candidate, ...]
    given: Mapping[str, str | None]
    compared: int
    places: Mapping[str, Mapping[str, float]]

    @property
    def best(self) -> Candidate:
        """The most probable assignment."""
        return self.candidates[0]

    @property
    def misplaced(self) -> tuple[str, ...]:
        """Units that are hardly where they are said to be: with a probability below `WRONG`."""
        said = {name: segment for name, segment in self.given.items() if segment is not None}
        return tuple(n for n, s in said.items() if self.places[n].get(s, 0.0) < WRONG)

    @property
    def undecided(self) -> tuple[str, ...]:
        """Units of which the motion does not tell for sure where they are, nor that they are misplaced."""
        open_ = [n for n, places in self.places.items() if max(places.values()) < SURE]
        return tuple(n for n in open_ if n not in self.misplaced)


def find_placement(
    units: Sequence[Unit],
    model: BodyModel,
    person: Person | None = None,
    calibrations: Sequence[Calibration] = (),
    alone: Unaided | None = None,
) -> Placement | None:
    """Assignments of units to segments, ranked by how well the motion fits each.

    Parameters
    ----------
    units : of a capture; those without accelerometer or gyroscope keep the segment that they have
    model, person, calibrations : of the capture; a still neutral pose tells which end of each unit is up
    alone : `unaided` of the units that carry accelerometer and gyroscope, where it is there already

    Returns
    -------
    Placement, or None when fewer than two units can be compared, or the model has no joint

    Raises
    ------
    InputError
        A segment is not in the model, or there are more units than segments.
    CannotReconstructError
        The units share too little time.

    Notes
    -----
    Evidence, each as a log-likelihood ratio against units that don't touch: how well two units agree at a
    joint centre, −ν log(σ/σ₀); the play of hinges; distances between joint centres; how far a unit is from
    its joints; which way knees and elbows bend, which tells left from right. See docs/method.md.
    """
    alike = [u for u in units if {"accelerometer", "gyroscope"} <= u.sensors]
    if len(alike) < 2 or not model.joints:
        return None
    tree = tree_of(model, person)
    given, blocked = _given(units, alike, tree)
    alone = alone or unaided(alike)
    stretch = most_motion(alone)
    pairs, up = pair_table(stretch), _up(alone, calibrations)
    views = [evidence(tree, stretch, pairs, mounting, up) for mounting in _mountings(alike, given)]
    rows = worth_scoring(views[0], given, blocked)
    return _ranked(alike, tree, rows, np.stack([_scores(view, rows) for view in views]))


def _given(units: Sequence[Unit], alike: Sequence[Unit], tree: Tree) -> tuple[np.ndarray, list[int]]:
    """(S,) unit on each segment as said, and the segments that units hold which take no part."""
    at = {segment: index for index, segment in enumerate(tree.segments)}
    if len(units) > len(at):
        raise InputError(
            f"units: {len(units)} units, expected at most {len(at)}, the number of segments of the model; "
            "leave one out"
        )
    given, blocked = np.full(len(at), len(alike)), []
    for unit in units:
        if unit.segment is None:
            continue
        if unit.segment not in at:
            raise InputError(
                f"units.{unit.name}: segment {unit.segment!r} is not in the model; "
                f"{suggest(unit.segment, at)}"
            )
        if unit in alike:
            given[at[unit.segment]] = alike.index(unit)
        else:
            blocked.append(at[unit.segment])
    return given, blocked


def _mountings(units: Sequence[Unit], given: np.ndarray) -> list[dict[tuple[int, int], np.ndarray]]:
    """(segment, unit) -> segment_from_unit, taken for each unit's own, and for that of the place.

    Somebody who mixed up two tables wrote down how units sit at the places; somebody who mixed up two names,
    how each unit sits.
    """
    stated = {
        u: Rotation.from_quat(x.mounting).as_matrix() for u, x in enumerate(units) if x.mounting is not None
    }
    own = {(s, u): M for u, M in stated.items() for s in range(len(given))}
    of_place = {(s, u): stated[given[s]] for s, u in own if given[s] in stated}
    alike = all(np.allclose(M, own[at]) for at, M in of_place.items())
    return [own] if alike else [own, of_place]


def _up(alone: Unaided, calibrations: Sequence[Calibration]) -> list[np.ndarray | None]:
    """Per unit, up in its frame in the first declared neutral pose, or None."""
    for pose in calibrations:
        inside = (alone.time >= pose.start) & (alone.time <= pose.end)
        if pose.kind == "still" and pose.pose == "neutral" and inside.any():
            up = alone.R[inside, :, 1].mean(0)
            return list(up / np.linalg.norm(up, axis=-1, keepdims=True))
    return [None] * len(alone.units)


def _scores(known: Evidence, rows: np.ndarray) -> np.ndarray:
    """(N,) log-likelihood ratios; left and right only for those that come near the best."""
    scores = base_scores(known, rows)
    best_first = np.argsort(-scores, kind="stable")[:CLOSEST]
    for index in best_first[scores[best_first] > scores.max() - CLOSE]:
        scores[index] += side_score(known, rows[index])
    return scores


def _ranked(units: Sequence[Unit], tree: Tree, rows: np.ndarray, scores: np.ndarray) -> Placement:
    """The result; `scores` (views of the mountings, N)."""
    total = np.logaddexp.reduce(scores, axis=0) - np.log(len(scores))
    probability = np.exp(total - np.logaddexp.reduce(total))
    order = np.argsort(-total, kind="stable")
    said = {unit.name: unit.segment for unit in units}
    named = [{units[u].name: tree.segments[s] for s, u in enumerate(row) if u < len(units)} for row in rows]
    rank = next((r for r, i in enumerate(order) if named[i] == said), None)
    shown = [*order[:KEPT], *([order[rank]] if rank is not None and rank >= KEPT else [])]
    return Placement(
        tuple(Candidate(named[i], float(probability[i]), bool(scores[-1, i] > scores[0, i])) for i in shown),
        said,
        len(rows),
        {unit.name: _places(unit.name, named, probability) for unit in units},
    )


def _places(unit: str, named: Sequence[Mapping[str, str]], probability: np.ndarray) -> dict[str, float]:
    """Segment -> probability that a unit is worn there, most probable first."""
    out: dict[str, float] = {}
    for assignment, p in zip(named, probability, strict=True):
        out[assignment[unit]] = out.get(assignment[unit], 0.0) + float(p)
    return dict(sorted(out.items(), key=lambda item: -item[1]))


def placed(units: Mapping[str, Unit], placement: Placement) -> dict[str, Unit]:
    """The units where they most probably are; mounting and place in the segment go along as fits best.

    Parameters
    ----------
    units : name -> unit, of a capture
    placement : found in the same capture

    Returns
    -------
    name -> unit
    """
    out, best = dict(units), placement.best
    holder = {unit.segment: unit for unit in units.values() if unit.segment is not None}
    for name, segment in best.segments.items():
        changed = dataclasses.replace(units[name], segment=segment)
        if best.mounting_of_place and segment in holder:
            source = holder[segment]
            changed = dataclasses.replace(changed, mounting=source.mounting, position=source.position)
        out[name] = changed
    return out


def refuse_unplaced(units: Mapping[str, Unit], placement: Placement | None) -> None:
    """Refuses units without a segment, and says where each most probably is.

    Parameters
    ----------
    units : name -> unit, of a capture
    placement : found in the same capture, or None

    Raises
    ------
    CannotReconstructError
        A unit has no segment.
    """
    for name, unit in units.items():
        if unit.segment is not None:
            continue
        places = list(placement.places.get(name, {}).items())[:3] if placement else []
        likely = ", ".join(f"{segment} ({p:.0%})" for segment, p in places if p >= 0.01)
        raise CannotReconstructError(
            f"units.{name}: it has no segment, expected the one that it is worn on; "
            + (
                f"most probably {likely}. Write it into setup.toml, or fit with --assign auto"
                if likely
                else "the motion does not show it; write it into setup.toml"
            )
        )
