"""Signals of one unit on an even grid, with keyframes on every fourth sample."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from ..calibration.sensors.clipping import clipping, redrawn
from ..core.arrays.scratch import let_go, room, rows_at_once
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
    rate, force = samples.rate(), samples.force
    R, felt = room((len(rate), 3, 3)), room(force.shape)
    R[0], felt[0] = np.eye(3), force[0]
    for at in rows_at_once(len(rate) - 1):
        before, after = slice(at.start, at.stop), slice(at.start + 1, at.stop + 1)
        R[after] = R[at.start] @ products(exp(0.5 * (rate[after] + rate[before]) * samples.step))[1:]
        felt[after] = apply(R[after], force[after])
        let_go(R, felt, rate, force)
    felt = gaussian_filter1d(felt, LEVEL_S * HZ, axis=0, mode="nearest")
    for at in rows_at_once(len(rate)):
        R[at] = smallest_rotation(felt[at], UP) @ R[at]
        let_go(R)
    return R


def accelerations(samples: FootSamples, R: np.ndarray) -> np.ndarray:
    """What a unit was accelerated by, without gravity.

    Parameters
    ----------
    samples : of one unit
    R : (N, 3, 3) world_from_unit

    Returns
    -------
    (N, 3) m/s², world frame
    """
    out = room(samples.force.shape)
    for at in rows_at_once(len(out)):
        out[at] = apply(R[at], samples.force[at]) - samples.gravity * UP
        let_go(out, R, samples.force)
    return out
