"""The Earth's magnetic field: official test points of the World Magnetic Model.

NOAA NCEI and British Geological Survey, World Magnetic Model 2025, test values that are published with the
coefficients: date, height, latitude, longitude; north, east and down in nT to 0.1 nT, declination to 0.01°.
Norm and dip follow from the three components.
"""

import math
from datetime import UTC, datetime

import numpy as np
import pytest

from bodyfit.recording.capture import Place
from bodyfit.recording.earth_field import earth_field

POINTS = (  # year, height km, latitude, longitude, X, Y, Z in nT, D in degrees
    (2025.0, 0, 80, 0, 6521.6, 145.9, 54791.5, 1.28),
    (2025.0, 0, 0, 120, 39677.8, -109.6, -10580.2, -0.16),
    (2025.0, 0, -80, 240, 6117.5, 15751.9, -52022.5, 68.78),
    (2025.0, 100, 80, 0, 6216.0, 92.4, 52598.8, 0.85),
    (2025.0, 100, 0, 120, 37688.6, -96.2, -10152.1, -0.15),
    (2025.0, 100, -80, 240, 5907.6, 14780.3, -49540.7, 68.21),
    (2027.5, 0, 80, 0, 6500.8, 294.5, 54869.4, 2.59),
    (2027.5, 0, 0, 120, 39701.6, -167.4, -10381.8, -0.24),
    (2027.5, 0, -80, 240, 6200.7, 15730.3, -51783.7, 68.49),
    (2027.5, 100, 80, 0, 6196.7, 233.8, 52670.5, 2.16),
    (2027.5, 100, 0, 120, 37711.5, -148.7, -9969.8, -0.23),
    (2027.5, 100, -80, 240, 5984.0, 14760.1, -49317.7, 67.93),
)


@pytest.mark.parametrize(("year", "height_km", "latitude", "longitude", "x", "y", "z", "d"), POINTS)
def test_field_matches_the_official_test_points(year, height_km, latitude, longitude, x, y, z, d):
    found = earth_field(Place(latitude, longitude, 1000.0 * height_km), year)
    level = found.norm * math.cos(found.dip)
    components = np.array(
        [
            level * math.cos(found.declination),
            level * math.sin(found.declination),
            found.norm * math.sin(found.dip),
        ]
    )
    np.testing.assert_allclose(1e9 * components, [x, y, z], atol=0.1)  # printed to 0.1 nT
    assert math.degrees(found.declination) == pytest.approx(d, abs=0.0051)
    assert found.model == "WMM-2025" and not found.note


def test_a_date_is_taken_as_its_share_of_the_year():
    place = Place(80.0, 0.0)
    by_date = earth_field(place, datetime(2027, 7, 2, 12, tzinfo=UTC))
    assert by_date.year == pytest.approx(2027.5, abs=1e-9)
    assert by_date == earth_field(place, 2027.5)


def test_without_a_date_the_middle_of_the_model_counts_and_says_so():
    found = earth_field(Place(47.0, 9.0))
    assert found.year == 2027.5 and "no date" in found.note


@pytest.mark.parametrize(("asked", "taken"), [(1999.0, 2010.0), (2034.5, 2030.0)])
def test_a_date_that_no_model_covers_is_named(asked, taken):
    found = earth_field(Place(47.0, 9.0), asked)
    assert found.year == taken and f"{asked}" in found.note and "outside" in found.note


@pytest.mark.parametrize(
    ("year", "model"),
    [(2012.0, "WMM-2010"), (2017.0, "WMM-2015v2"), (2024.9, "WMM-2020"), (2030.0, "WMM-2025")],
)
def test_older_dates_take_the_model_of_their_time(year, model):
    assert earth_field(Place(47.0, 9.0), year).model == model
