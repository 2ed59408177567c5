"""Step control: a Gauss–Newton step is halved until the cost falls; the cost says when it has settled."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

SETTLED = 1e-4  # relative change of the cost in one whole step, geometry held (common practice)
# relative increase from which a step is halved; by reasoning: rounding makes less, nothing else makes any
WORSE = 1e-9
SHORTER = 0.5  # of a step that did not help (common practice)
LEAST_SHARE = 1 / 64  # of a step; when that does not help either, none is taken; chosen; not tried


@dataclass(frozen=True)
class StepControl:
    """Where the descent stands.

    A step is shortened as a whole. Damping every rotation by itself (Levenberg 1944) holds back most what is
    known least and alike for long: a heading of a whole piece, of which each keyframe is damped.

    Attributes
    ----------
    cost : at the last point that was kept; infinite before there is one
    share : of the last step that is taken
    settled : whether the last step, taken whole, changed the cost by less than one in ten thousand: one that
        overshot can end on the other side at the same cost
    """

    cost: float = math.inf
    share: float = 1.0
    settled: bool = False

    def worse(self, cost: float) -> bool:
        """Whether a cost is higher than at the last point, by more than rounding makes."""
        return cost > self.cost * (1 + WORSE)

    @property
    def stuck(self) -> bool:
        """Whether shorter and shorter steps did not help."""
        return self.share == 0.0

    def shorter(self) -> StepControl:
        """After a step that did not help: half of it, in the end nothing of it."""
        share = SHORTER * self.share
        return replace(self, share=share if share >= LEAST_SHARE else 0.0)

    def kept(self, cost: float) -> StepControl:
        """After a step that helped, at its cost: the next is whole again.

        References
        ----------
        Backtracking: Nocedal & Wright 2006, Numerical Optimization, section 3.1.
        """
        whole = self.share == 1.0 and math.isfinite(self.cost)
        settled = whole and abs(self.cost - cost) < SETTLED * cost
        return StepControl(cost, 1.0, settled)
