"""Assignments of units to segments that are worth scoring."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations, permutations
from math import perm

import numpy as np

from ...body.anatomy import LEFT, RIGHT, mirrored, part_of
from .body_tree import Tree
from .joint_likelihood import Evidence, base_scores

# assignments of which every one is scored; by reasoning: 7! = 5040, every order of seven units
ALL_UP_TO = 6000
WIDTH = 150  # partial assignments that the search goes on with; chosen; not tried
KEPT = 60  # of the search's best that are looked at closely; chosen; not tried
SYMMETRIC = 8  # of these, whose left-right counterparts are looked at too; chosen; not tried


def worth_scoring(known: Evidence, given: np.ndarray, blocked: Sequence[int] = ()) -> np.ndarray:
    """Assignments to choose from: all of a few units; else what is given, its exchanges, and a search.

    Where somebody says that a unit is worn, one is: only which one is open. Other segments come into question
    only where a unit has none.

    Parameters
    ----------
    known : evidence for U units on S segments
    given : (S,) unit on each segment, U for none; units that are nowhere are allowed
    blocked : segments that stay without any of these units

    Returns
    -------
    (N, S), each unit on one segment, none twice; the given one first where it is complete
    """
    U, S = len(known.mean_world), len(given)
    said = np.flatnonzero(given < U)
    whole = len(said) == U
    places = said if whole else np.setdiff1d(np.arange(S), blocked)
    start = [given] if whole else []
    if perm(len(places), U) <= ALL_UP_TO:
        return _allowed([*start, *_every(U, S, places)], U, said, places)
    around = [a for g in start for a in exchanged(known.tree, g, U)]
    found = _searched(known, said, places)
    twins = [m for f in found[:SYMMETRIC] for m in mirrored_limbs(known.tree, f)]
    return _allowed([*start, *around, *found, *twins], U, said, places)


def _allowed(rows: Iterable[np.ndarray], none: int, said: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Rows that fill what must be and leave empty what must be, each once, in order of first appearance."""
    stacked = np.array(list(rows), int)
    empty = np.delete(stacked, places, axis=1) == none
    stacked = stacked[(stacked[:, said] != none).all(1) & empty.all(1)]
    return stacked[np.sort(np.unique(stacked, axis=0, return_index=True)[1])]


def _every(U: int, S: int, places: np.ndarray) -> Iterable[np.ndarray]:
    """Every way to put U units on some of the S segments."""
    for chosen in permutations(places, U):
        out = np.full(S, U)
        out[list(chosen)] = range(U)
        yield out


def exchanged(tree: Tree, given: np.ndarray, none: int) -> list[np.ndarray]:
    """What people mix up: any two places, and whole limbs left for right, one and two at a time.

    Parameters
    ----------
    tree : body
    given : (S,) unit on each segment
    none : index that stands for no unit

    Returns
    -------
    list of (S,)
    """
    out = []
    for a, b in combinations(range(len(given)), 2):
        if given[a] != none or given[b] != none:
            out.append(_permuted(given, {a: b, b: a}))
    limbs = mirrored_limbs(tree, given)
    return [*out, *limbs, *(m for limb in limbs for m in mirrored_limbs(tree, limb))]


def mirrored_limbs(tree: Tree, given: np.ndarray) -> list[np.ndarray]:
    """A limb exchanged with the one of the other side from some joint on outwards, and both limbs at once.

    Parameters
    ----------
    tree : body
    given : (S,)

    Returns
    -------
    list of (S,)
    """
    swaps, whole = [], {}
    sides = {name: s for s, name in enumerate(tree.segments) if mirrored(name)}
    roots = {int(tree.ends[left, 1]) for left, _ in tree.mirrored}
    for name, s in sides.items():
        if name.startswith(LEFT) and mirrored(name) in sides:
            swap = {}
            for part in _outwards(tree, s):
                other = sides.get(RIGHT + part_of(tree.segments[part]))
                if other is not None:
                    swap |= {part: other, other: part}
            swaps.append(swap)
            if s in roots:
                whole |= swap
    return [_permuted(given, swap) for swap in [*swaps, *([whole] if len(roots) > 1 else [])]]


def _outwards(tree: Tree, segment: int) -> list[int]:
    """A segment and all that hang on it."""
    out = [segment]
    for parent, child in tree.ends:
        if parent in out:
            out.append(int(child))
    return out


def _permuted(given: np.ndarray, swap: dict[int, int]) -> np.ndarray:
    """The units of some places moved to others."""
    out = given.copy()
    for a, b in swap.items():
        out[b] = given[a]
    return out


def _searched(known: Evidence, said: np.ndarray, places: np.ndarray) -> list[np.ndarray]:
    """Best assignments by joints and spans, built from the root outwards, the best few kept at each step."""
    tree, U = known.tree, len(known.mean_world)
    order = [0, *(int(child) for _, child in tree.ends)]
    rows = np.full((1, len(order)), U)
    for step, segment in enumerate(order):
        choice = np.arange(U + (segment not in said)) if segment in places else np.array([U])
        grown = np.repeat(rows, len(choice), 0)
        grown[:, segment] = np.tile(choice, len(rows))
        worn = (grown[..., None] == np.arange(U)).sum(1)  # (N, U)
        left = U - worn.sum(1)
        least, most = (np.isin(order[step + 1 :], some).sum() for some in (said, places))
        grown = grown[(worn.max(1) <= 1) & (left >= least) & (left <= most)]
        rows = grown[np.argsort(-base_scores(known, grown), kind="stable")[:WIDTH]]
    return list(rows[:KEPT])
