"""Normal gravity of WGS 84.

NIMA TR8350.2, 3rd edition (2000), Somigliana's formula with the constants of chapter 3. The values were
computed from that formula in a table made apart from this project (ten decimals), and the value at the pole,
9.8321849378 m/s², is printed in the report. With height: the second-order series, eight decimals.
"""

import math

import pytest

from bodyfit.core.gravity import normal_gravity

ON_ELLIPSOID = {
    0: 9.7803253359,
    15: 9.7837849624,
    30: 9.7932472692,
    45: 9.8061977694,
    51.5: 9.8120335750,
    60: 9.8191769531,
    75: 9.8286966275,
    90: 9.8321849379,
}


@pytest.mark.parametrize(("latitude_deg", "gravity"), ON_ELLIPSOID.items())
def test_gravity_on_the_ellipsoid_matches_to_ten_decimals(latitude_deg, gravity):
    assert normal_gravity(math.radians(latitude_deg)) == pytest.approx(gravity, abs=1.1e-10)


def test_gravity_at_the_pole_matches_the_printed_value():
    assert normal_gravity(math.pi / 2) == pytest.approx(9.8321849378, abs=2e-10)


@pytest.mark.parametrize(
    ("latitude_deg", "height", "gravity"), [(45, 1000, 9.80311294), (51.5, 100, 9.81172508)]
)
def test_gravity_with_height_matches_to_eight_decimals(latitude_deg, height, gravity):
    assert normal_gravity(math.radians(latitude_deg), height) == pytest.approx(gravity, abs=1e-8)


def test_south_equals_north():
    assert normal_gravity(math.radians(-33.9)) == normal_gravity(math.radians(33.9))
