"""Standard deviations and windows of the path of a foot, each with where it comes from."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class PathWeights:
    """What is believed about a foot, its unit and the ground; one set for every recording. SI units.

    Attributes
    ----------
    rate_noise, force_noise : rad/s/√Hz, m/s²/√Hz, white noise of gyroscope and accelerometer
    rate_scale, force_scale : error of scale and alignment, share of what is measured
    jerk : share of the change of force from sample to sample that its integral is wrong by
    slip, sole : m/s, m; the point that stands slips, and it is not known where along the sole it lies
    sole_height : m, by which the standing point lies off the ground
    ground, step : m; usual change of the ground between stances, and from where it is a step
    steepest : m, largest standard deviation of a change of the ground
    lever : m, of ball and heel along and across the sole, seen from the unit
    sole_below, sole_below_sd : m, by which they lie below the unit while the foot stands
    lag : s, of the gyroscope behind the accelerometer
    still_scale : share by which a calibrated accelerometer is off
    bias_rate : rad/s
    heading : rad, by which a fitted body's heading of the foot is off at one keyframe
    knee : squared standard deviations at which a contact keeps a quarter of its weight
    early, late : s, by which a stance may reach beyond what was detected
    lasting_slip : share of a stance's slip that lasts through it and so moves the whole stride
    """

    rate_noise: float = 0.003  # tried: x 1/3 to x 3 on open foot recordings, stride error moves by 1 mm
    force_noise: float = 0.03  # tried: as rate_noise; some 20 times data sheets, for soft tissue
    rate_scale: float = 0.004  # from memory: 0.3 % of calibrated units, rounded up
    force_scale: float = 0.005  # from memory: as rate_scale
    jerk: float = 0.1  # tried: 0.05 to 0.2 for the share of strides in their 95 % band
    slip: float = 0.02  # tried: 1 to 5 cm/s on open foot recordings
    sole: float = 0.04  # tried: 2 to 8 cm on open foot recordings
    sole_height: float = 0.01  # guessed: thickness of a sole that yields
    ground: float = 0.0045  # tried: level walks and simulated stairs, three values
    step: float = 0.045  # tried: likewise; steps of stairs are 15 to 18 cm
    steepest: float = 0.5  # by reasoning: no stride climbs more
    lever: float = 0.12  # by reasoning: half a foot's length
    # by reasoning: a heel cap or an instep is that high over the sole; tried: 5 ± 2, 5 ± 3 cm on runs
    sole_below: float = 0.05
    sole_below_sd: float = 0.03  # as sole_below
    lag: float = 0.002  # by reasoning: one chip; found 7 to 37 ms in one set, under 3 ms elsewhere
    still_scale: float = 0.003  # from memory: calibrated accelerometers
    bias_rate: float = math.radians(0.5)  # data sheets of consumer gyroscopes, from memory
    heading: float = 0.35  # guessed: a fit's heading error changes slowly
    knee: float = 1.5  # tried: 1 to 9 on open foot recordings and simulated runs
    early: float = 0.04  # tried: 0 to 0.08 s on open foot recordings
    late: float = 0.05  # tried: 0 to 0.08 s on these and on simulated runs
    lasting_slip: float = 1.0  # tried: 0 to 1.3 on these and on simulated runs, for 95 % bands


def kernel(distance: np.ndarray, knee: float) -> np.ndarray:
    """Factor on the weight of a residual: far ones hardly count.

    Parameters
    ----------
    distance : (n,) in standard deviations
    knee : squared distance at which a quarter is left

    Returns
    -------
    (n,) in (0, 1]: (1 + z²/knee)⁻²

    References
    ----------
    Geman & McClure 1985, Proc. Am. Stat. Assoc. Stat. Comput. Sect., 12–18 (from memory).
    """
    return (1 + distance**2 / knee) ** -2
