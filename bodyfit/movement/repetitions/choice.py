"""Which of many overlapping matches stand: the set that explains most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

OVERLAP = 0.1  # of a match at either end may lie in a neighbour (tried: 0 to 0.2, on reps_physio_5units)


@dataclass(frozen=True)
class Match:
    """A stretch of a stream that resembles a movement.

    Attributes
    ----------
    first, last : first sample, and the one after the last
    score : distance; 0 the same, 1 no nearer than a template that does not move
    movement : which one, as the caller counts them
    template : which of its templates
    gain : what choosing it explains; larger is better
    """

    first: int
    last: int
    score: float
    movement: int
    template: int
    gain: float

    @property
    def length(self) -> int:
        """Samples."""
        return self.last - self.first


def chosen(matches: Sequence[Match]) -> list[Match]:
    """The matches that do not overlap and whose gains sum to the most, in the order of time.

    Parameters
    ----------
    matches : candidates, of any movement

    Returns
    -------
    list of Match; neighbours that touch by up to a tenth share what they both claim

    Notes
    -----
    Weighted interval scheduling by dynamic programming over the ends (Kleinberg & Tardos 2005, ch. 6.1, from
    memory).
    """
    if not matches:
        return []
    ordered = sorted(matches, key=_inner_end)
    ends = np.array([_inner_end(match) for match in ordered])
    starts = np.array([match.first + OVERLAP * match.length for match in ordered])
    earlier = np.minimum(np.searchsorted(ends, starts, side="right"), np.arange(len(ordered)))
    best, taken = np.zeros(len(ordered) + 1), np.zeros(len(ordered), bool)
    for i, match in enumerate(ordered):
        with_it = best[earlier[i]] + match.gain
        taken[i] = with_it > best[i]
        best[i + 1] = max(with_it, best[i])
    out, i = [], len(ordered)
    while i:
        if taken[i - 1]:
            out.append(ordered[i - 1])
            i = int(earlier[i - 1])
        else:
            i -= 1
    return _parted(out[::-1])


def _inner_end(match: Match) -> float:
    return match.last - OVERLAP * match.length


def _parted(matches: list[Match]) -> list[Match]:
    """The same, overlaps halved."""
    for i in range(len(matches) - 1):
        one, other = matches[i : i + 2]
        if one.last > other.first:
            middle = (one.last + other.first) // 2
            matches[i], matches[i + 1] = replace(one, last=middle), replace(other, first=middle)
    return matches
