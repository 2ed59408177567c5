"""Assignments of units to segments that are worth scoring."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations, permutations
from math import perm

import numpy as np

from .placement_evidence import Evidence, Tree, base_scores

ALL_UP_TO = 6000  # assignments of which every one is scored
WIDTH = 300  # partial assignments that the search goes on with
KEPT = 60  # of the search's best that are looked at closely
SYMMETRIC = 8  # of these, whose left-right counterparts are looked at too


def worth_scoring(known: Evidence, given: np.ndarray, blocked: Sequence[int] = ()) -> np.ndarray:
    """Assignments to choose from: all of a few units; else what is given, its exchanges, and a search.

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
    whole = len(set(given[given < U])) == U
    start = [given] if whole else []
    if perm(S, U) <= ALL_UP_TO:
        return _unique([*start, *_every(U, S)], U, blocked)
    around = [a for g in start for a in exchanged(known.tree, g, U)]
    found = _searched(known, blocked)
    mirrored = [m for f in found[:SYMMETRIC] for m in mirrored_limbs(known.tree, f)]
    return _unique([*start, *around, *found, *mirrored], U, blocked)


def _unique(rows: Iterable[np.ndarray], none: int, blocked: Sequence[int]) -> np.ndarray:
    """Rows that leave the blocked segments alone, each once, in the order of their first appearance."""
    stacked = np.array(list(rows), int)
    stacked = stacked[(stacked[:, list(blocked)] == none).all(1)]
    return stacked[np.sort(np.unique(stacked, axis=0, return_index=True)[1])]


def _every(U: int, S: int) -> Iterable[np.ndarray]:
    """Every way to place U units on S segments."""
    for places in permutations(range(S), U):
        out = np.full(S, U)
        out[list(places)] = range(U)
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
    sides = {name: s for s, name in enumerate(tree.segments) if name[:2] in ("l_", "r_")}
    roots = {int(tree.ends[left, 1]) for left, _ in tree.mirrored}
    for name, s in sides.items():
        if name.startswith("l_") and "r_" + name[2:] in sides:
            swap = {}
            for part in _outwards(tree, s):
                other = sides.get("r_" + tree.segments[part][2:])
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


def _searched(known: Evidence, blocked: Sequence[int]) -> list[np.ndarray]:
    """Best assignments by joints and spans, built from the root outwards, the best few kept at each step."""
    tree, U = known.tree, len(known.mean_world)
    S = len(tree.segments)
    rows, order = np.full((1, S), U), [0, *(int(child) for _, child in tree.ends)]
    for step, segment in enumerate(order):
        grown = np.repeat(rows, U + 1, 0)
        grown[:, segment] = np.tile(np.arange(U + 1), len(rows))
        placed = (grown[..., None] == np.arange(U)).sum(1)  # (N, U)
        left = U - placed.sum(1) <= len(set(order[step + 1 :]) - set(blocked))  # the others still find room
        free = (grown[:, segment] == U) | (segment not in blocked)
        grown = grown[(placed.max(1) <= 1) & left & free]
        scores = base_scores(known, grown)
        rows = grown[np.argsort(-scores, kind="stable")[:WIDTH]]
    return list(rows[:KEPT])
