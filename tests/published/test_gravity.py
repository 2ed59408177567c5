"""Normal gravity of WGS 84.

NIMA TR8350.2, 3rd edition (2000), table 3.4: theoretical gravity at the equator, at the pole, and its mean
over the ellipsoid (the mean from memory); printed to ten decimals. Free air: 0.3086 mGal/m, as in any book
of gravimetry (from memory), printed to four digits.
"""

import math

import numpy as np
import pytest

from bodyfit.core.gravity import normal_gravity

EQUATOR, POLE, MEAN = 9.7803253359, 9.8321849378, 9.7976432222
E2 = 0.00669437999014  # first eccentricity squared of WGS 84, table 3.3


@pytest.mark.parametrize(("latitude_deg", "printed"), [(0, EQUATOR), (90, POLE), (-90, POLE)])
def test_gravity_at_equator_and_pole_matches_the_printed_values(latitude_deg, printed):
    assert normal_gravity(math.radians(latitude_deg)) == pytest.approx(printed, abs=2e-10)


def test_the_mean_over_the_ellipsoid_matches_the_printed_value():
    """Weighted with the area of a ring, cos φ / (1 − e² sin² φ)², by Gauss-Legendre quadrature in sin φ."""
    sine, weight = np.polynomial.legendre.leggauss(40)
    area = weight / (1 - E2 * sine**2) ** 2
    gravity = [normal_gravity(math.asin(s)) for s in sine]
    assert np.sum(area * gravity) / np.sum(area) == pytest.approx(MEAN, abs=2e-10)


@pytest.mark.parametrize("latitude_deg", [0, 45, 90])
def test_gravity_falls_with_height_by_the_free_air_gradient(latitude_deg):
    """It differs by 0.2 % between equator and pole, and by 0.02 % over a kilometre."""
    phi = math.radians(latitude_deg)
    fall = (normal_gravity(phi) - normal_gravity(phi, 1000.0)) / 1000.0
    assert fall * 1e5 == pytest.approx(0.3086, abs=0.0006)
