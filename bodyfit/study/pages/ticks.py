"""Round numbers along an axis."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Tick:
    """A label at a place along an axis, as a share of the axis."""

    at: float
    text: str


@dataclass(frozen=True)
class LogScale:
    """A logarithmic axis; what lies beyond its ends is put at them.

    Attributes
    ----------
    low, high : values at the ends, above zero
    """

    low: float
    high: float

    @classmethod
    def around(cls, values: Iterable[float]) -> LogScale:
        """The axis from a round number below the values to one above them, room to both sides."""
        known = [value for value in values if value > 0 and math.isfinite(value)] or [1.0]
        steps = list(_round_numbers())
        low = max((step for step in steps if step <= 0.9 * min(known)), default=steps[0])
        high = min((step for step in steps if step >= 1.1 * max(known)), default=steps[-1])
        return cls(low, high)

    def at(self, value: float) -> float:
        """Where a value stands, as a share of the axis."""
        inside = min(max(value, self.low), self.high)
        return math.log(inside / self.low) / math.log(self.high / self.low)

    def ticks(self, most: int) -> tuple[Tick, ...]:
        """Labels at 1, 2, 5, 10 … or, where those are too many, at powers of ten, within the axis."""
        inside = [step for step in _round_numbers() if self.low <= step <= self.high]
        tens = [step for step in inside if f"{step:e}".startswith("1.0")]
        shown = inside if len(inside) <= most or len(tens) < 2 else tens
        return tuple(Tick(self.at(step), f"{step:g}") for step in shown)


def _round_numbers() -> Iterable[float]:
    """1, 2, 5 times the powers of ten from 0.001 to 10000."""
    return (float(f"{part}e{power}") for power in range(-3, 5) for part in (1, 2, 5))


def ticks(low: float, high: float, most: int) -> tuple[Tick, ...]:
    """Round numbers within an axis.

    Parameters
    ----------
    low, high : ends of the axis
    most : number of intervals, at most

    Returns
    -------
    tuple of Tick
    """
    from matplotlib.ticker import MaxNLocator

    at = MaxNLocator(most, steps=[1, 2, 5, 10]).tick_values(low, high)
    inside = [float(t) for t in at if low - 1e-9 <= t <= high + 1e-9]
    return tuple(Tick((t - low) / (high - low), f"{t:g}".replace("-", "−")) for t in inside)
