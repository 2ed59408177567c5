"""The magnetic gate: norm and dip, per unit."""
# pyright: reportArgumentType=false

import numpy as np
import pytest

from bodyfit.capture import Place
from bodyfit.field_trust import dip_at, dip_of, judge_field
from bodyfit.rotations import heading_matrix

DIP = np.radians(60.0)
NORTH = np.array([np.cos(DIP), -np.sin(DIP), 0.0])
GATE, DIP_GATE = 0.1, np.radians(10.0)


def clean(count=200, units=2, seed=0):
    """The Earth's field in worlds of any heading, with 1 % of noise."""
    rng = np.random.default_rng(seed)
    turned = heading_matrix(rng.uniform(-np.pi, np.pi, (count, units))) @ NORTH
    return turned + 0.01 * rng.normal(size=(count, units, 3))


def judged(field, known=None, levelled=None, expected_dip=DIP):
    known = np.ones(field.shape[:2], bool) if known is None else known
    levelled = np.ones(field.shape[1], bool) if levelled is None else levelled
    return judge_field(field, known, levelled, expected_dip, GATE, DIP_GATE)


def test_dip_is_the_angle_below_the_horizon_at_any_heading():
    for heading in (0.0, 1.0, -2.5):
        assert dip_of(heading_matrix(heading) @ NORTH) == pytest.approx(DIP)
    assert dip_of(np.array([0.0, 1.0, 0.0])) == pytest.approx(-np.pi / 2)


def test_dip_of_a_place_is_that_of_a_dipole():
    """Tan I = 2 tan λ (textbook): 0 at the equator, 63.4° at 45°, 90° at the pole, negative in the south."""
    for latitude, dip in ((0, 0), (45, 63.4349), (90, 90), (-45, -63.4349)):
        assert np.degrees(dip_at(Place(latitude, 0.0))) == pytest.approx(dip, abs=1e-4)


@pytest.mark.parametrize(("latitude", "dip"), [(80, 83.21), (0, -14.93), (-80, -72.01)])
def test_dip_of_a_place_is_near_the_world_magnetic_model(latitude, dip):
    """WMM2025 official test points, 2025.0, height 0. The Earth is no centred dipole: expect 15°."""
    assert np.degrees(dip_at(Place(latitude, 0.0))) == pytest.approx(dip, abs=15)


def test_dip_without_a_place_is_that_of_middle_latitudes():
    assert 45 < np.degrees(dip_at(None)) < 75


def test_a_clean_field_is_trusted():
    trust = judged(clean())
    assert trust.trusted.all()
    np.testing.assert_array_equal(trust.share, [1.0, 1.0])
    assert trust.dip == pytest.approx(DIP, abs=np.radians(0.5))


@pytest.mark.parametrize("what", ["norm", "dip"])
def test_a_stretch_with_iron_near_by_is_not(what):
    field = clean()
    bad = slice(50, 90)
    if what == "norm":
        field[bad, 0] *= 1.3
    else:
        field[bad, 0, 1] = -np.sin(DIP) + 0.5  # the field points 20° higher
        field[bad, 0] /= np.linalg.norm(field[bad, 0], axis=-1, keepdims=True)
    trust = judged(field)
    assert not trust.trusted[bad, 0].any()
    assert trust.trusted[:50, 0].all() and trust.trusted[90:, 0].all() and trust.trusted[:, 1].all()
    assert trust.share[0] == pytest.approx(0.8)


def test_a_unit_that_rarely_passes_is_not_used_at_all():
    """A third of its readings look clean, of the same norm and dip as elsewhere: as likely by chance."""
    field = clean(units=3)
    off = np.arange(200) % 3 != 0
    field[off, 0] = np.array([np.cos(0.3), -np.sin(0.3), 0.0])
    trust = judged(field)
    assert trust.share[0] == pytest.approx(1 / 3, abs=0.01)
    assert not trust.trusted[:, 0].any() and trust.trusted[:, 1:].all()


def test_the_usual_dip_is_that_of_most_levelled_units():
    field = clean(units=3)
    field[:, 2] = [0.0, 1.0, 0.0]
    assert judged(field, levelled=np.array([True, True, False])).dip == pytest.approx(
        DIP, abs=np.radians(0.5)
    )


def test_without_an_accelerometer_only_the_norm_counts_and_the_dip_is_the_expected_one():
    rng = np.random.default_rng(1)
    field = rng.normal(size=(100, 1, 3))
    field /= np.linalg.norm(field, axis=-1, keepdims=True)
    field[40:50] *= 1.5
    trust = judged(field, levelled=np.array([False]), expected_dip=1.0)
    assert trust.dip == 1.0
    assert trust.trusted[:40].all() and not trust.trusted[40:50].any()


def test_what_was_not_read_is_not_trusted_and_a_unit_without_magnetometer_has_no_share():
    field, known = clean(), np.ones((200, 2), bool)
    known[:30, 0] = False
    known[:, 1] = False
    trust = judged(field, known)
    assert not trust.trusted[:30, 0].any() and trust.trusted[30:, 0].all() and not trust.trusted[:, 1].any()
    assert trust.share[0] == 1.0 and np.isnan(trust.share[1])
