"""Search of movements in a stream: templates, all matches, the race between movements, refinement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from .choice import Match, chosen
from .warping import aligned, spread, subsequences

# Limit of the distance: true ones have 0.14 (median), 0.54 (99 %); the best of anything else in the same
# stream 0.65 (1 %) (tried: 0.4 to 0.8 and limits learnt from examples, on reps_physio_5units)
LIMIT = 0.6
SURE = 0.5  # distance of matches that templates are made of (tried: 0.4 to 0.7, on the same)
# Lengths of copies of the middle example (tried: none, faster ones, slower ones, on the same: of three
# examples at one tempo, 1 in 8 sessions was counted within one without copies, 15 in 16 with them)
TEMPOS = (2.5, 1.6, 0.6, 0.4)
NEAR = 1.25  # ratio of lengths within which an example makes a copy needless (by reasoning: half a step)
ROUNDS = 3  # of refinement (tried: 0 to 3, on the same)
FEWEST = 3  # matches from which anything is learnt (by reasoning: two may be the same mistake)


@dataclass(frozen=True, eq=False)
class Template:
    """One way in which a movement is done.

    Attributes
    ----------
    values : (m, c) channels
    variance : mean squared distance from their mean
    """

    values: np.ndarray
    variance: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "variance", max(spread(self.values), 1e-12))


@dataclass(frozen=True, eq=False)
class Movement:
    """A movement that is looked for.

    Attributes
    ----------
    channels : (n, c) the stream in this movement's look
    templates : each a way in which it is done
    """

    channels: np.ndarray
    templates: tuple[Template, ...]


def templates_of(examples: Sequence[np.ndarray]) -> tuple[Template, ...]:
    """Templates of examples, and copies of the middle one at tempos that none of them has.

    Parameters
    ----------
    examples : (m, c) channels each

    Returns
    -------
    tuple of Template, the examples first

    Notes
    -----
    Done in a share f of the time, rates grow by 1/f and accelerations of inertia by 1/f², those of gravity
    not at all: all are taken to grow by 1/f.
    """
    lengths = np.array([len(values) for values in examples])
    middle = examples[int(np.argsort(lengths, kind="stable")[len(lengths) // 2])]
    copies = []
    for share in TEMPOS:
        count = max(3, round(len(middle) * share))
        if (np.abs(np.log(lengths / count)) > np.log(NEAR)).all():
            copies.append(Template(stretched(middle, count) / share))
    return (*(Template(values) for values in examples), *copies)


def stretched(values: np.ndarray, count: int) -> np.ndarray:
    """Values at `count` even places from first to last.

    Parameters
    ----------
    values : (n, c) array

    Returns
    -------
    (count, c) array
    """
    return at_positions(values, np.linspace(0, len(values) - 1, count))


def at_positions(values: np.ndarray, position: np.ndarray) -> np.ndarray:
    """Values between samples, on straight lines.

    Parameters
    ----------
    values : (n, c) array
    position : (…,) places in samples

    Returns
    -------
    (…, c) array
    """
    low = np.clip(position.astype(int), 0, max(len(values) - 2, 0))
    share = (position - low)[..., None]
    return (1 - share) * values[low] + share * values[np.minimum(low + 1, len(values) - 1)]


def candidates(movements: Sequence[Movement], limit: float = LIMIT) -> list[Match]:
    """All matches below the limit that no neighbouring end beats, of every template.

    Parameters
    ----------
    movements : to be looked for
    limit : of the distance

    Returns
    -------
    list of Match
    """
    out = []
    for number, movement in enumerate(movements):
        for index, template in enumerate(movement.templates):
            cost, start = subsequences(movement.channels, template.values)
            score = cost / template.variance
            low = score < limit
            low[1:] &= score[1:] <= score[:-1]
            low[:-1] &= score[:-1] <= score[1:]
            for last in np.flatnonzero(low):
                first, s = int(start[last]), float(score[last])
                gain = (limit - s) * (last + 1 - first)
                out.append(Match(first, int(last) + 1, s, number, index, gain))
    return out


def search(movements: Sequence[Movement], limit: float = LIMIT) -> list[Match]:
    """The set of matches that explains most, of all movements at once; what resembles none is left out.

    Parameters
    ----------
    movements : to be looked for; they race for every stretch
    limit : of the distance

    Returns
    -------
    list of Match in the order of time
    """
    return chosen(candidates(movements, limit))


def refined(movements: Sequence[Movement], found: Sequence[Match], sure: float = SURE) -> list[Movement]:
    """The movements, each template the mean of itself and of what it found; those that found nothing go.

    Parameters
    ----------
    movements, found : of a search
    sure : distance above which a match says nothing about the movement

    Returns
    -------
    list of Movement
    """
    out = []
    for number, movement in enumerate(movements):
        own = [match for match in found if match.movement == number and match.score < sure]
        used = [i for i in range(len(movement.templates)) if any(m.template == i for m in own)] or [0]
        templates = [
            _mean(movement.channels, movement.templates[i], [m for m in own if m.template == i]) for i in used
        ]
        out.append(Movement(movement.channels, tuple(templates)))
    return out


def _mean(channels: np.ndarray, template: Template, found: Sequence[Match]) -> Template:
    if not found:
        return template
    position, _ = aligned(channels, template.values, np.array([(m.first, m.last) for m in found]))
    rows = at_positions(channels, position[np.isfinite(position).all(1)])
    return Template(np.concatenate([template.values[None], rows]).mean(0))


def found_in(movements: Sequence[Movement], rounds: int = ROUNDS) -> tuple[list[Match], list[Movement]]:
    """Matches after refinement, and the movements as they were refined.

    Parameters
    ----------
    movements : to be looked for
    rounds : of refinement

    Returns
    -------
    matches in the order of time, movements
    """
    known, found = list(movements), search(movements)
    for _ in range(rounds if len(found) >= FEWEST else 0):
        known = refined(known, found)
        found = search(known)
    return found, known
