"""What a fit found of each worn unit."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from ..errors import InputError
from .kinds import BESIDE, Figure, FigureMatrix, Figures, Matrix, Sensor, Span, Vector

UNIT_TOLERANCE = (
    1e-3  # of a quaternion's length; six decimals are written; by reasoning: more than that rounds off
)


@dataclass(frozen=True)
class MagnetometerFigures:
    """How a unit's magnetometer was used.

    Attributes
    ----------
    magnetometer_heading_sd_deg : standard deviation of the heading by its field, degrees; None: not known
    magnetometer_untrusted : (start s, end s, why) of stretches in which the field was not trusted
    """

    magnetometer_heading_sd_deg: Figure
    magnetometer_untrusted: tuple[tuple[float, float, str], ...]


@dataclass(frozen=True)
class UnitFigures:
    """One worn unit.

    Attributes
    ----------
    segment : that it is on
    sensors : used of it: accelerometer, gyroscope, magnetometer, orientation
    mounting_quat_xyzw : segment_from_unit, unit quaternion, scalar last
    mounting_source : what the mounting rests on, in words
    mounting_sd_deg : (3,) standard deviations about the segment's axes, degrees
    mounting_covariance_rad2 : (3, 3) of the rotation vector φ with Exp(φ) segment_from_unit true, segment
        frame, rad²
    mounting_open : turns on the segment that nothing shows, in words
    elastic_deg_per_g : (3, 3) turn on the segment for each g of specific force, degrees
    gyroscope_bias_deg_per_s : (3,) mean over the capture, unit frame; None without a gyroscope
    accelerometer_scale : factor that its readings were multiplied by, mean of the axes
    heading_drift_removed_deg : heading that the gyroscope as it is would have gained over the capture,
        degrees; None without a gyroscope
    field_untrusted_s : stretches of a second or more in which its field was not trusted; None: no field
    gaps : stretches without samples
    magnetometer_trusted_share : share of the time in which its field was trusted, 0 to 1; None: no field
    magnetometer : how its field was used; None: not at all
    """

    segment: str
    sensors: tuple[Sensor, ...]
    mounting_quat_xyzw: tuple[float, float, float, float]
    mounting_source: str
    mounting_sd_deg: Figures
    mounting_covariance_rad2: FigureMatrix
    mounting_open: tuple[str, ...]
    elastic_deg_per_g: Matrix
    gyroscope_bias_deg_per_s: Vector | None
    accelerometer_scale: float
    heading_drift_removed_deg: Figure
    field_untrusted_s: tuple[Span, ...] | None
    gaps: tuple[Span, ...]
    magnetometer_trusted_share: Figure
    magnetometer: MagnetometerFigures | None = field(default=None, metadata=BESIDE)

    def __post_init__(self) -> None:
        length = math.hypot(*self.mounting_quat_xyzw)
        if abs(length - 1) > UNIT_TOLERANCE:
            raise InputError(f"mounting_quat_xyzw: found a quaternion of length {length:.4g}; expected 1")


@dataclass(frozen=True)
class ClockFigures:
    """What the fit took off a unit's time stamps.

    Attributes
    ----------
    offset_s : at the middle of the capture, s
    rate_ppm : change of the offset, millionths of the time
    """

    offset_s: float
    rate_ppm: float


@dataclass(frozen=True)
class SlipFigures:
    """One slip of a unit on its segment.

    Attributes
    ----------
    unit : that slipped
    time_s : when, s
    angle_deg : by how much, degrees
    """

    unit: str
    time_s: float
    angle_deg: float
