"""Gravity at a place on the Earth."""

from __future__ import annotations

import math

STANDARD_GRAVITY = 9.80665  # m/s², conventional value, 3rd CGPM 1901; used when no place is given
# WGS 84, NIMA TR8350.2 (2000) chapter 3 and 4
EQUATOR_GRAVITY = 9.7803253359  # m/s²
SOMIGLIANA_CONSTANT = 0.00193185265241  # WGS 84
FIRST_ECCENTRICITY_SQUARED = 0.00669437999013  # WGS 84
SEMI_MAJOR_AXIS = 6378137.0  # m; WGS 84
FLATTENING = 1 / 298.257223563  # WGS 84
CENTRIFUGAL_RATIO = 0.00344978650684  # ω² a² b / GM; WGS 84


def normal_gravity(latitude: float, height: float = 0.0) -> float:
    """Magnitude of gravity of the WGS 84 ellipsoid.

    Parameters
    ----------
    latitude : geodetic latitude, rad
    height : m above the ellipsoid

    Returns
    -------
    gravity : m/s²

    Notes
    -----
    Somigliana's closed formula on the ellipsoid, then the second-order series in height:
    γ_h = γ (1 − 2/a (1 + f + m − 2 f sin²φ) h + 3 h²/a²).

    References
    ----------
    NIMA TR8350.2, 3rd edition (2000), eq. 4-1 and 4-3.
    """
    s = math.sin(latitude) ** 2
    on_ellipsoid = EQUATOR_GRAVITY * (1 + SOMIGLIANA_CONSTANT * s)
    on_ellipsoid /= math.sqrt(1 - FIRST_ECCENTRICITY_SQUARED * s)
    slope = 1 + FLATTENING + CENTRIFUGAL_RATIO - 2 * FLATTENING * s
    return on_ellipsoid * (1 - 2 * slope * height / SEMI_MAJOR_AXIS + 3 * (height / SEMI_MAJOR_AXIS) ** 2)
