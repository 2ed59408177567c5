"""How good simulated units are, how they are worn, and the field around them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from ..core.gravity import STANDARD_GRAVITY
from ..errors import InputError
from .room_field import MagneticField

ERROR_FIELDS = ("_sd", "_density", "_walk", "_share", "_per_g", "_spread", "_distortion")


@dataclass(frozen=True)
class SimulationSettings:
    """How good the units are and how they are worn; SI units.

    The defaults describe a wearable-class chip after factory calibration. "Data sheet" is that of a
    common six-axis chip; "from memory" marks what was not looked up.

    Attributes
    ----------
    sampling_frequency : Hz
    gyroscope_noise_density : rad/s/√Hz; data sheet 0.007 °/s/√Hz
    gyroscope_bias_sd : rad/s; 0.3 °/s, what stays of the ±0.5 °/s of the data sheet after a still start
    gyroscope_bias_walk : rad/s/√s; 0.001 °/s/√s (from memory)
    accelerometer_noise_density : m/s²/√Hz; data sheet 0.16 mg/√Hz
    accelerometer_bias_sd : m/s²; 3 mg, calibrated units keep 1 to 5 mg (from memory)
    magnetometer_noise_sd : T, one sample; 0.3 µT, usual 0.1 to 0.6 µT (from memory)
    magnetometer_bias_sd : T; 0.5 µT (from memory)
    scale_error_sd : relative, every sensor; 0.3 % (from memory)
    misalignment_sd : rad, every sensor; 0.2° (from memory)
    gyroscope_full_scale, accelerometer_full_scale : rad/s, m/s²; 2000 °/s and 16 g
    clock_offset_sd : s, recorded stamp minus true time at time 0
    clock_rate_sd : relative (20e-6 is 20 ppm)
    dropped_share : share of the samples lost, in runs of five
    soft_tissue_deg_per_g : turn of the unit against the bone for 1 g across the segment, held (see
        `soft_tissue`); 3°
    soft_tissue_mm_per_g : shift likewise; 5 mm
    soft_tissue_sags : gravity pulls at the tissue, too, so that a unit turns and shifts as its segment tilts;
        not at all while it is upright
    mounting_spread : rad; the unit is turned by up to this much about any axis against its place in `worn`
    state_mounting, state_position : write the mounting and place into the capture
    stated_mounting_sd : rad, of each component of the turn by which a stated mounting is off
    field : the Earth's field and its dipoles
    magnetic_distortion : T, adds dipoles around the path that disturb it by this much (root mean square)
    motion_cutoff : Hz, low-pass of the motion before use, 0 or None for none; what is left is the truth
    """

    sampling_frequency: float = 100.0
    gyroscope_noise_density: float = math.radians(0.007)
    gyroscope_bias_sd: float = math.radians(0.3)
    gyroscope_bias_walk: float = math.radians(0.001)
    accelerometer_noise_density: float = 0.16e-3 * STANDARD_GRAVITY
    accelerometer_bias_sd: float = 3e-3 * STANDARD_GRAVITY
    magnetometer_noise_sd: float = 0.3e-6
    magnetometer_bias_sd: float = 0.5e-6
    scale_error_sd: float = 0.003
    misalignment_sd: float = math.radians(0.2)
    gyroscope_full_scale: float = math.radians(2000.0)
    accelerometer_full_scale: float = 16 * STANDARD_GRAVITY
    clock_offset_sd: float = 0.0
    clock_rate_sd: float = 0.0
    dropped_share: float = 0.0
    soft_tissue_deg_per_g: float = 3.0
    soft_tissue_mm_per_g: float = 5.0
    soft_tissue_sags: bool = False
    mounting_spread: float = 0.0
    state_mounting: bool = True
    stated_mounting_sd: float = 0.0
    state_position: bool = False
    field: MagneticField = field(default_factory=MagneticField)
    magnetic_distortion: float = 0.0
    motion_cutoff: float | None = 10.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if isinstance(value, float) and not value >= 0:
                raise InputError(f"settings: {name} = {value}; expected a number that is not negative")
        if not 1 <= self.sampling_frequency <= 10_000:
            raise InputError(
                f"settings: sampling_frequency = {self.sampling_frequency} Hz; expected 1 to 10000 Hz"
            )
        if self.dropped_share >= 1:
            raise InputError(f"settings: dropped_share = {self.dropped_share}; expected a share below 1")

    @classmethod
    def perfect(cls, **changes) -> SimulationSettings:
        """Units without any error, rigidly on the bone, in the Earth's undisturbed field."""
        zero = {name: 0.0 for name in cls.__dataclass_fields__ if name.endswith(ERROR_FIELDS)}
        full_scale = {"gyroscope_full_scale": math.inf, "accelerometer_full_scale": math.inf}
        return cls(**{**zero, **full_scale, **changes})
