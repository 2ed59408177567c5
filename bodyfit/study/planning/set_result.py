"""What is known of one set of worn units: its bound, and how its simulated recordings went."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ...core.cards import Card, Shown, decimals
from ...core.robust import BAND_95
from .question import WornSet


@dataclass(frozen=True, repr=False)
class SetResult(Shown):
    """What is known of one set; plain data, degrees.

    Attributes
    ----------
    worn : the set
    bound_deg : "joint.angle" -> information bound
    error_deg : "joint.angle" -> root mean square error over time and recordings; empty: none simulated
    trials, met : recordings simulated, and those that met every tolerance
    chance : share that met them, lowest and highest that it may be (95 %)
    over : "joint.angle" -> share of the recordings in which it was over its tolerance
    slipped : recordings in which the fit believed that a unit slipped
    """

    worn: WornSet
    bound_deg: Mapping[str, float]
    error_deg: Mapping[str, float] = field(default_factory=dict)
    trials: int = 0
    met: int = 0
    chance: tuple[float, float] = (0.0, 1.0)
    over: Mapping[str, float] = field(default_factory=dict)
    slipped: int = 0

    def worst_bound(self, tolerance_deg: Mapping[str, float]) -> float:
        """Largest share of its tolerance that an angle's bound takes."""
        return max(value / tolerance_deg[name] for name, value in self.bound_deg.items())

    def breaks_first(self, tolerance_deg: Mapping[str, float]) -> str:
        """The angle most often over its tolerance; of equals the largest against it."""
        values = self.error_deg or self.bound_deg
        return max(values, key=lambda name: (self.over.get(name, 0.0), values[name] / tolerance_deg[name]))

    @property
    def bound_mean_deg(self) -> float:
        """Mean bound over the angles."""
        return float(np.mean(list(self.bound_deg.values())))

    @property
    def error_mean_deg(self) -> float | None:
        """Mean error over the angles."""
        return float(np.mean(list(self.error_deg.values()))) if self.error_deg else None

    @property
    def figures(self) -> tuple[str, str, str, str, str]:
        """Units, axes, mean bound and mean error (°), percent of recordings that met all; as text."""
        met = decimals(100 * self.met / self.trials if self.trials else None, 0)
        mean = (decimals(self.bound_mean_deg, 2), decimals(self.error_mean_deg, 2))
        return str(self.worn.units), str(self.worn.axes), *mean, met

    def _card(self) -> Card:
        met = f"{self.met} of {self.trials} simulated recordings met every tolerance"
        rows = tuple(
            (name, decimals(bound, 2), decimals(self.error_deg.get(name), 2))
            for name, bound in self.bound_deg.items()
        )
        return Card(
            f"Set of units: {self.worn.name}", (met,), ("angle", ">predicted °", ">simulated °"), rows
        )


def wilson(met: int, trials: int, z: float = BAND_95) -> tuple[float, float]:
    """Interval of a share, 95 % by default.

    Parameters
    ----------
    met, trials : counts
    z : standard deviations either side

    Returns
    -------
    low, high

    Notes
    -----
    (p + z²/2n ± z √(p (1 − p)/n + z²/4n²)) / (1 + z²/n). Source: Wilson 1927,
    doi:10.1080/01621459.1927.10502953.
    """
    if not trials:
        return 0.0, 1.0
    p, s = met / trials, z * z / trials
    half = z * math.sqrt(p * (1 - p) / trials + s / (4 * trials))
    return max(0.0, (p + s / 2 - half) / (1 + s)), min(1.0, (p + s / 2 + half) / (1 + s))


def summed_up(
    worn: WornSet,
    bounds: Mapping[str, float],
    trials: Sequence[Mapping[str, float]],
    tolerance: Mapping[tuple[str, str], float],
) -> SetResult:
    """A set's result from its bound and its simulated recordings."""
    limit = {f"{joint}.{angle}": value for (joint, angle), value in tolerance.items()}
    bound_deg = {name: math.degrees(value) for name, value in bounds.items()}
    names = [name for name in bounds if all(name in t for t in trials)]
    if not trials:
        return SetResult(worn, bound_deg)
    errors = np.array([[t[name] for name in names] for t in trials])
    over = errors > np.array([limit[name] for name in names])
    met = int((~over.any(1)).sum())
    error = np.degrees(np.sqrt(np.mean(errors**2, 0)))
    return SetResult(
        worn,
        bound_deg,
        dict(zip(names, error.tolist(), strict=True)),
        len(trials),
        met,
        wilson(met, len(trials)),
        dict(zip(names, over.mean(0).tolist(), strict=True)),
        sum(t["slips"] > 0 for t in trials),
    )
