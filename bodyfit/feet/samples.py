"""Signals of one unit on an even grid, with keyframes on every fourth sample."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from ..calibration.sensors.clipping import clipping, redrawn
from ..core.cubic_spline import CubicSpline
from ..core.rotations import UP, apply, exp, products, smallest_rotation
from ..errors import InputError
from ..recording.capture import Unit
from ..recording.resampling import check_stamps, sensor_spline
from ..recording.sampling import DROPPED

HZ = 200.0  # impacts of feet last some 20 ms (common practice); higher rates are brought down to it
# samples from keyframe to keyframe: 20 ms, ten keyframes in the shortest stance of a runner; by reasoning
PER_KEY = 4
LEVEL_S = 1.0  # s, standard deviation of the average that tells up; tried: 0.5 to 2 on open foot recordings
SHORTEST_S = 2.0  # s of samples below which no stride can be whole; by reasoning


@dataclass(frozen=True, eq=False)
class FootSamples:
    """One unit's samples at `HZ`, from keyframe to keyframe, on the capture's clock.

    Attributes
    ----------
    time : (N,) s, N = PER_KEY (K − 1) + 1
    force : (N, 3) m/s², unit frame
    rate_spline : rad/s of time in s, unit frame
    gap : (N,) s, length of the gap that each time lies in, of either sensor; zero between neighbours
    clipped : (N,) bool, times at which a sensor was at the end of its range
    gravity : m/s²
    """

    time: np.ndarray
    force: np.ndarray
    rate_spline: CubicSpline
    gap: np.ndarray
    clipped: np.ndarray
    gravity: float

    @property
    def step(self) -> float:
        """Seconds between samples."""
        return 1 / HZ

    @property
    def key_step(self) -> float:
        """Seconds between keyframes."""
        return PER_KEY / HZ

    @property
    def key_time(self) -> np.ndarray:
        """(K,) s."""
        return self.time[::PER_KEY]

    def rate(self, lag: float = 0.0) -> np.ndarray:
        """(N, 3) rad/s, of a gyroscope that lags behind the accelerometer by `lag` s."""
        return self.rate_spline(np.clip(self.time + lag, self.time[0], self.time[-1]))


def foot_samples(unit: Unit, gravity: float) -> FootSamples:
    """Samples of a unit on an even grid.

    Parameters
    ----------
    unit : with accelerometer and gyroscope
    gravity : m/s²

    Returns
    -------
    FootSamples; short clipped tops are redrawn

    Raises
    ------
    InputError
        A sensor is missing, or there is too little of it.
    CannotReconstructError
        A sensor was at the end of its range most of the time.
    """
    for sensor in ("accelerometer", "gyroscope"):
        if sensor not in unit.sensors:
            raise InputError(
                f"units.{unit.name}: no {sensor}, expected accelerometer and gyroscope of a unit whose path "
                f"is asked for; name its columns in setup.toml, or leave the unit out"
            )
    check_stamps(unit)
    span = unit.time[-1] - unit.time[0]
    if span < SHORTEST_S:
        raise InputError(
            f"units.{unit.name}: {span:.2f} s of samples, expected at least {SHORTEST_S:g} s for a stride"
        )
    clips = clipping(unit)
    unit = redrawn(unit, clips)
    keys = int(span * HZ / PER_KEY)
    time = unit.time[0] + np.arange(keys * PER_KEY + 1) / HZ
    force, felt = sensor_spline(unit, "accelerometer", unit.time, time)
    rate, turned = sensor_spline(unit, "gyroscope", unit.time, time)
    gap = np.maximum(felt.step(time), turned.step(time))
    gap = np.where(gap > DROPPED / HZ, gap, 0.0)
    at_limit = np.any([clip.mask for clip in clips], axis=0) if clips else np.zeros(len(unit.time), bool)
    nearest = np.clip(np.searchsorted(unit.time, time), 0, len(unit.time) - 1)
    near = at_limit[nearest] | at_limit[np.maximum(nearest - 1, 0)]
    return FootSamples(time, force(time), rate, gap, near, gravity)


def start_rotations(samples: FootSamples) -> np.ndarray:
    """World-from-unit at every sample: the gyroscope integrated, and levelled by the accelerometer.

    Parameters
    ----------
    samples : of one unit

    Returns
    -------
    (N, 3, 3); the heading is arbitrary and drifts

    Notes
    -----
    R₀ the products of turns, u the Gaussian average of R₀ f over seconds, normed;
    R = (shortest turn u → up) R₀.
    """
    rate = samples.rate()
    turns = exp(0.5 * (rate[1:] + rate[:-1]) * samples.step)
    R = products(turns)
    felt = gaussian_filter1d(apply(R, samples.force), LEVEL_S * HZ, axis=0, mode="nearest")
    return smallest_rotation(felt, UP) @ R
