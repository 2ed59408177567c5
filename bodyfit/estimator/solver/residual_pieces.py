"""All residuals at one point, linearised a stretch of keyframes at a time: an hour of them is large."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from ...calibration.magnetic.field_gate import FieldTrust
from ...recording.keyframe_averages import Averages
from ..linearise import linearise
from ..problem.problem import Problem
from ..problem.unknowns import Body, State
from ..residuals.base import Linearised
from .block_tridiagonal import chunks_of

# largest size of all residuals that are kept until they are asked for again: some ten minutes of 15 units;
# tried: on three minutes of them, to linearise anew each time takes a twentieth longer
KEPT_BYTES = 100e6


class Residuals:
    """Residuals of a problem at an estimate, made when they are asked for.

    Parameters
    ----------
    problem, state, body, average, trust, first : as of `linearise`, of the whole capture
    """

    def __init__(
        self,
        problem: Problem,
        state: State,
        body: Body,
        average: Averages,
        trust: FieldTrust,
        first: bool = False,
    ):
        self.given = problem, state, body, average, trust
        self.first, self.north = first, bool(trust.trusted.any())
        self.keyframes = len(state.R)
        self.chunks = chunks_of(state.slots, self.keyframes)
        self.kept: dict[tuple[int, int], list[Linearised]] = {}

    def piece(self, start: int, end: int) -> tuple[list[Linearised], int]:
        """All that meets the keyframes start ≤ k < end, and the row at which keyframe `start` is found."""
        a, b = self.reach(start, end)
        if (a, b) not in self.kept:
            given = self.given
            if b - a < self.keyframes:
                given = tuple(whole.piece(a, b) for whole in given)
            if self.kept and not self._all_can_be_kept:
                self.kept.clear()
            self.kept[a, b] = linearise(*given, first=self.first, north=self.north)
            self._let_go()
        return self.kept[a, b], start - a

    def _let_go(self) -> None:
        """Takes what all pieces are cut from out of memory, as far as it is on the disk."""
        problem, state, _, average, _ = self.given
        problem.turns.let_go()
        average.let_go()
        state.let_go()

    def reach(self, start: int, end: int) -> tuple[int, int]:
        """First keyframe and the one after the last of a piece: one more on either side, which they meet."""
        return max(0, start - 1), min(self.keyframes, end + 1)

    @cached_property
    def _all_can_be_kept(self) -> bool:
        """Whether there is room for all, told by those that are there."""
        (a, b), parts = next(iter(self.kept.items()))
        return sum(map(_bytes, parts)) * self.keyframes / (b - a) < KEPT_BYTES

    @cached_property
    def cost(self) -> float:
        """What is least at the solution, see `Linearised.robust_cost`."""
        return sum(part.robust_cost for chunk in self.chunks for part in self._own(*chunk))

    def root_mean_squares(self) -> dict[str, float]:
        """Root mean square of each kind of residual where it counts; of several alike, the last one's."""
        sums = dict[tuple[str, int], np.ndarray]()
        for chunk in self.chunks:
            seen = dict[str, int]()
            for part in self._own(*chunk):
                key = part.name, seen.get(part.name, 0)
                seen[part.name] = key[1] + 1
                squares = part.value[part.weight > 0] ** 2
                sums[key] = sums.get(key, 0.0) + np.array([squares.sum(), squares.size])
        return {name: float(np.sqrt(s / n)) for (name, _), (s, n) in sums.items() if n}

    def _own(self, start: int, end: int) -> list[Linearised]:
        """Values of the rows of the keyframes start ≤ k < end; what ties one to the next is of the former."""
        parts, row = self.piece(start, end)
        return [part.between(row, row + end - start) for part in parts]


def _bytes(part: Linearised) -> int:
    """What the arrays of a residual take up, about."""
    arrays = [part.value, part.weight, *(J for _, _, J in part.jacobians)]
    arrays += [] if part.constants is None else [part.constants[1]]
    return sum(array.nbytes for array in arrays if 0 not in array.strides)
