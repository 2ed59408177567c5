"""Step control: Levenberg–Marquardt on the rotations; the cost must fall, and says when it has settled."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..residuals.base import Linearised

SETTLED = 1e-4  # relative change of the cost in one step, geometry held (common practice)
# relative increase from which a step is taken back; by reasoning: rounding makes less, nothing else makes any
WORSE = 1e-9
# half a radian, of a rotation in one step once one was taken back; tried: on what is not written down
FIRST_REACH = math.radians(29.0)
FACTOR = 4.0  # by which that reach grows and shrinks (common practice)
MOST_TAKEN_BACK = 6  # in a row; then no direction helps; chosen; not tried


@dataclass(frozen=True)
class StepControl:
    """Where the descent stands.

    Attributes
    ----------
    cost : at the last point that was kept; infinite before there is one
    reach : rad, standard deviation of every rotation of a step; infinite: Gauss–Newton
    ceiling : rad, that the reach does not grow beyond: a step with twice that was taken back
    taken_back : steps in a row
    settled : whether the last step changed the cost by less than one in ten thousand
    """

    cost: float = math.inf
    reach: float = math.inf
    ceiling: float = math.inf
    taken_back: int = 0
    settled: bool = False

    def worse(self, cost: float) -> bool:
        """Whether a cost is higher than at the last point, by more than rounding makes."""
        return cost > self.cost * (1 + WORSE)

    @property
    def stuck(self) -> bool:
        """Whether shorter and shorter steps were all taken back."""
        return self.taken_back >= MOST_TAKEN_BACK

    def shorter(self) -> StepControl:
        """After a step that was taken back: a quarter of the reach, which may grow to half of it again."""
        limited = math.isfinite(self.reach)
        reach = self.reach / FACTOR if limited else FIRST_REACH
        ceiling = self.reach / 2 if limited else math.inf
        return replace(self, reach=reach, ceiling=ceiling, taken_back=self.taken_back + 1)

    def kept(self, cost: float) -> StepControl:
        """After a step that was kept, at its cost: four times the reach."""
        settled = abs(self.cost - cost) < SETTLED * cost if math.isfinite(self.cost) else False
        return StepControl(cost, min(self.reach * FACTOR, self.ceiling), self.ceiling, 0, settled)

    def damping(self, keyframes: int, units: int) -> list[Linearised]:
        """Residuals θ / d of every rotation of the step; none without a limit.

        Parameters
        ----------
        keyframes, units : K + 1, U

        Returns
        -------
        list of at most one Linearised, m = 3, rad

        References
        ----------
        Levenberg 1944, doi:10.1090/qam/10666; Marquardt 1963, doi:10.1137/0111030.
        """
        if not math.isfinite(self.reach):
            return []
        value = np.zeros((keyframes, units, 3))
        J = np.broadcast_to(np.eye(3), (keyframes, units, 3, 3))
        weight = np.broadcast_to(self.reach**-2.0, value.shape)
        return [Linearised("damping", value, ((np.arange(units), 0, J),), weight)]
