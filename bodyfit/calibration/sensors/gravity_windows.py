"""Gravity as a unit feels it over a few seconds: means of specific force, carried along by the gyroscope."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from ...core.arrays.scratch import column
from ...core.rotations import apply
from ...recording.single_units import Unaided

# base of the triangle that is averaged over; tried: 2 to 8 s gave the same scales, on what is not written
# down
WINDOW_S = 4.0
BIN_S = 0.25  # samples are averaged over so long first; by reasoning: limbs' sway is kept
LEAST_SD = 0.03  # m/s², of a mean: errors of inclination and of axes against each other, 3 mg; by reasoning


@dataclass(frozen=True, eq=False)
class GravityWindows:
    """Triangular means over four seconds, two seconds apart, of K windows and U units.

    Attributes
    ----------
    units : names, in the order of the unit axis
    time : (K,) s, middles
    by_axis : (K, U, 3, 3) m/s², column j: mean of what axis j adds to the specific force in the world frame
    turned : (K, U, 3, 3) mean of world_from_unit: what a constant bias adds
    sd : (K, U) m/s², of the mean force about gravity
    known : (K, U) bool, samples throughout

    Notes
    -----
    The mean of R f is gravity and the gain in velocity over the window. What the wearer's speed adds is
    2 s / W for a window of base W and a speed that spreads by s within it; s is seen in the integral of
    R f − g ŷ less its own triangular mean.
    """

    units: tuple[str, ...]
    time: np.ndarray
    by_axis: np.ndarray
    turned: np.ndarray
    sd: np.ndarray
    known: np.ndarray


def gravity_windows(unaided: Unaided, g: float) -> GravityWindows:
    """Means of specific force that motion averages out of.

    Parameters
    ----------
    unaided : each unit by itself
    g : m/s²

    Returns
    -------
    GravityWindows; K is 0 for a capture shorter than a window
    """
    bins = Bins.of(unaided)
    at, parts = bins.middles, []
    for unit in range(len(unaided.units)):  # one after the other: all of an hour's at once are large
        parts.append(_of_unit(unaided, unit, g, bins))
        unaided.let_go()
    by_axis, turned, speed = (np.stack(of, 1) for of in zip(*parts, strict=True))
    return GravityWindows(
        unaided.units,
        bins.time[at],
        by_axis,
        turned,
        np.hypot(LEAST_SD, 2 / WINDOW_S * speed),
        bins.smooth(bins.mean(unaided.known.astype(float)))[at] > 0.999,
    )


def _of_unit(unaided: Unaided, unit: int, g: float, bins: Bins) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(k, 3, 3) R_ij f_j and (k, 3, 3) R, means over windows; (k,) m/s, spread of the velocity in each."""
    R, force, at = unaided.R[:, unit], column(unaided.signals.specific_force, unit), bins.middles
    by_axis = bins.smooth(np.stack([bins.mean(R[..., j] * force[..., j, None]) for j in range(3)], -1))
    turned = bins.smooth(bins.mean(R))
    velocity = np.cumsum(apply(R, force) - [0.0, g, 0.0], axis=0) * unaided.step
    spread = np.sum((velocity - _triangular(velocity, bins.half * bins.samples)) ** 2, -1)
    return by_axis[at], turned[at], np.sqrt(bins.smooth(bins.mean(spread)))[at]


@dataclass(frozen=True, eq=False)
class Bins:
    """Samples averaged over a quarter of a second each, and triangular windows over these.

    Attributes
    ----------
    samples : per bin; half : bins in half a window; count : bins
    time : (count,) s, middles of bins
    """

    samples: int
    half: int
    count: int
    time: np.ndarray

    @classmethod
    def of(cls, unaided: Unaided) -> Bins:
        """The bins of some units' samples."""
        samples = max(1, round(BIN_S / unaided.step))
        count = (len(unaided.time) - 1) // samples  # turns end one sample earlier
        middle = (np.arange(count) * samples + 0.5 * (samples - 1)) * unaided.step
        return cls(
            samples, max(1, round(0.5 * WINDOW_S / (samples * unaided.step))), count, unaided.time[0] + middle
        )

    @property
    def middles(self) -> np.ndarray:
        """(K,) bins that windows are centred on, half a window apart; every window lies inside."""
        return np.arange(self.half, self.count - self.half, self.half)

    def mean(self, values: np.ndarray) -> np.ndarray:
        """(count, ...) means over bins of values (N, ...)."""
        whole = values[: self.count * self.samples]
        return whole.reshape(self.count, self.samples, *values.shape[1:]).mean(1)

    def smooth(self, values: np.ndarray) -> np.ndarray:
        """(count, ...) triangular means about each bin."""
        return _triangular(values, self.half)

    def product(self, R: np.ndarray, v: np.ndarray) -> np.ndarray:
        """(count, 3, 3, 3) means over bins of R_ij v_l, for R (N, 3, 3) and v (N, 3)."""
        n = self.count * self.samples
        rows = R[:n].reshape(self.count, self.samples, 9).swapaxes(1, 2)
        return (rows @ v[:n].reshape(self.count, self.samples, 3)).reshape(-1, 3, 3, 3) / self.samples


def _triangular(values: np.ndarray, half: int) -> np.ndarray:
    """Means over triangles of base 2·half along time, as two running means."""
    half |= 1  # an even box would shift
    return uniform_filter1d(
        uniform_filter1d(values, half, axis=0, mode="nearest"), half, axis=0, mode="nearest"
    )
