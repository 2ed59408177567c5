"""The Earth's magnetic field at a place and a date, by the World Magnetic Model."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from .capture import Capture, Place

FIRST_YEAR, LAST_YEAR = 2010.0, 2030.0  # what the models (WMM) of package pygeomag 1.1 cover together


@dataclass(frozen=True)
class EarthField:
    """The undisturbed field at a place.

    Attributes
    ----------
    norm : T
    dip : rad, positive when the field points into the ground
    declination : rad, of magnetic north from true north, positive to the east
    model : name of the model, "WMM-2025"
    year : decimal year that it was evaluated at
    note : what was assumed about the date; empty: nothing
    """

    norm: float
    dip: float
    declination: float
    model: str
    year: float
    note: str = ""


def earth_field_of(capture: Capture) -> EarthField | None:
    """The Earth's field where and when a capture was made; None without a place.

    Parameters
    ----------
    capture : with `place`, and `start_time` where it is known

    Returns
    -------
    EarthField or None
    """
    return None if capture.place is None else earth_field(capture.place, capture.start_time)


def earth_field(place: Place, date: datetime | float | None = None) -> EarthField:
    """The Earth's field by the World Magnetic Model that covers the date.

    Parameters
    ----------
    place : latitude and longitude (geodetic), height above the ellipsoid
    date : or a decimal year; None: the middle of the newest model's validity

    Returns
    -------
    EarthField; `note` says so where the date is missing or not covered (then the nearest that is counts)

    References
    ----------
    NOAA NCEI and British Geological Survey, The US/UK World Magnetic Model for 2025-2030 (2024),
    coefficients and evaluation as in package pygeomag (MIT licence).
    """
    if date is None:
        year, note = LAST_YEAR - 2.5, f"no date given, {LAST_YEAR - 2.5:.1f} assumed"
    else:
        asked = _decimal_year(date) if isinstance(date, datetime) else float(date)
        year = min(max(asked, FIRST_YEAR), LAST_YEAR)
        note = "" if year == asked else f"{asked:.1f} is outside the models' validity, {year:.1f} was taken"
    model = _model(_epoch(year))
    found = model.calculate(place.latitude_deg, place.longitude_deg, place.height_m / 1000, year)
    angles = math.radians(found.i), math.radians(found.d)
    return EarthField(found.f * 1e-9, *angles, model.model, year, note)


def _epoch(year: float) -> int:
    """First year of the model that covers a year."""
    return min(int(year // 5) * 5, int(LAST_YEAR) - 5)


@lru_cache
def _model(epoch: int):
    """The model of an epoch, coefficients loaded."""
    from pygeomag import GeoMag
    from pygeomag.wmm.wmm_2010 import WMM_2010
    from pygeomag.wmm.wmm_2015v2 import WMM_2015v2
    from pygeomag.wmm.wmm_2020 import WMM_2020
    from pygeomag.wmm.wmm_2025 import WMM_2025

    coefficients = {2010: WMM_2010, 2015: WMM_2015v2, 2020: WMM_2020, 2025: WMM_2025}
    return GeoMag(coefficients_data=coefficients[epoch])


def _decimal_year(date: datetime) -> float:
    """The year with the share of it that has passed."""
    start, end = (datetime(year, 1, 1, tzinfo=date.tzinfo) for year in (date.year, date.year + 1))
    return date.year + (date - start) / (end - start)
