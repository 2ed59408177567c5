"""Round numbers along an axis."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Tick:
    """A label at a place along an axis, as a share of the axis."""

    at: float
    text: str


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
