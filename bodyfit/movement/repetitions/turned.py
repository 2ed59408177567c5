"""Examples of another placement or person: how units are turned is solved for, the movement learnt anew.

Lengths of a unit's rate and acceleration do not depend on how it is turned; they find a few repetitions.
Aligned to the examples, these say how each unit is turned: one rotation that carries the example's vectors to
those found, for rate and acceleration together.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...core.rotations import nearest_rotation
from .choice import Match
from .search import FEWEST, LIMIT, Movement, Template, at_positions, refined, search
from .warping import aligned

BEST = 12  # matches of a movement that tell the turn (tried: 6 to 24, on reps_physio_5units turned anyhow)
LOOSE = 0.8  # limit of the distance while placements or persons differ (tried: 0.7 to 0.9, on the same)
LOOSER = 0.85  # the same where vectors are taken as they are (tried: as LOOSE)
LEARNT = 0.7  # limit while templates become what is found (tried: as LOOSE)


def adapted(movements: Sequence[Movement], units: Sequence[str]) -> tuple[list[Match], list[Movement]]:
    """Matches of examples that come from another placement or person, and the movements as they were learnt.

    Parameters
    ----------
    movements : (n, 3 k) channels and templates, vectors of units
    units : name of the unit of each of the k vectors

    Returns
    -------
    matches in the order of time, movements in the stream's own frames
    """
    lengths = [norms_of(movement) for movement in movements]
    known, aligners = list(movements), lengths
    found = max(search(lengths, LOOSE), search(known, LOOSER), key=explained)
    for _ in range(3):
        if len(found) >= FEWEST:
            known = turned(known, aligners, found, units)
            found = search(known, LOOSE)
    for limit in (LEARNT, LEARNT, LIMIT):
        if len(found) >= FEWEST:
            known = refined(known, found, LEARNT)
            found = search(known, limit)
    return (found if len(found) >= FEWEST else search(known)), known


def explained(found: Sequence[Match]) -> float:
    """Samples that matches explain: their lengths, each by how near it is."""
    return sum((1 - match.score) * match.length for match in found)


def norms_of(movement: Movement) -> Movement:
    """The movement by the lengths of its vectors alone, each without its mean."""
    return Movement(_norms(movement.channels), tuple(Template(_norms(t.values)) for t in movement.templates))


def turned(
    movements: Sequence[Movement], lengths: Sequence[Movement], found: Sequence[Match], units: Sequence[str]
) -> list[Movement]:
    """The movements with their templates in the frames of the stream's units.

    Parameters
    ----------
    movements : with templates in the frames of the examples' units
    lengths : the same by `norms_of`, for the alignment
    found : matches of either
    units : name of the unit of each vector

    Returns
    -------
    list of Movement

    Notes
    -----
    One rotation a unit, for all movements: the nearest to Σ x yᵀ over aligned vectors x of the stream and y
    of the examples (Kabsch 1976, doi:10.1107/S0567739476001873).
    """
    names = list(dict.fromkeys(units))
    of_vector = np.array([names.index(unit) for unit in units])
    M = np.zeros((len(names), 3, 3))
    for number, (movement, by_length) in enumerate(zip(movements, lengths, strict=True)):
        own = sorted((m for m in found if m.movement == number), key=lambda m: m.score)[:BEST]
        for match in own:
            x, y = _pair(movement, by_length, match)
            np.add.at(M, of_vector, np.einsum("tvi,tvj->vij", x, y))
    R = nearest_rotation(M)[of_vector]
    return [
        Movement(m.channels, tuple(Template(_turn(R, template.values)) for template in m.templates))
        for m in movements
    ]


def _pair(movement: Movement, by_length: Movement, match: Match) -> tuple[np.ndarray, np.ndarray]:
    """(t, v, 3) vectors of a match and of its template, aligned by their lengths; none without a fit."""
    template = movement.templates[match.template].values
    piece = np.array([(match.first, match.last)])
    position = aligned(by_length.channels, by_length.templates[match.template].values, piece)[0][0]
    fits = bool(np.isfinite(position).all())
    x = at_positions(movement.channels, position) if fits else template[:0]
    y = template if fits else template[:0]
    return x.reshape(len(x), -1, 3), y.reshape(len(y), -1, 3)


def _turn(R: np.ndarray, values: np.ndarray) -> np.ndarray:
    return np.einsum("vij,tvj->tvi", R, values.reshape(len(values), -1, 3)).reshape(len(values), -1)


def _norms(values: np.ndarray) -> np.ndarray:
    lengths = np.linalg.norm(values.reshape(len(values), -1, 3), axis=2)
    return lengths - lengths.mean(0)
