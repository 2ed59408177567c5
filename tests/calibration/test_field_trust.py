"""The magnetic gate: norm, dip and turn, per unit; and the stretches that do not pass."""
# pyright: reportArgumentType=false

import numpy as np
import pytest

from bodyfit.calibration.magnetic.field_gate import Gates, dip_of, judge_field, turn_of_field, untrusted
from bodyfit.core.rotations import heading_matrix

DIP = np.radians(60.0)
NORTH = np.array([np.cos(DIP), -np.sin(DIP), 0.0])
GATE, DIP_GATE, STEP, TURN_GATE = 0.1, np.radians(10.0), 0.125, np.radians(15.0)


def clean(count=200, units=2, seed=0):
    """The Earth's field in worlds of any heading, with 1 % of noise."""
    rng = np.random.default_rng(seed)
    turned = heading_matrix(rng.uniform(-np.pi, np.pi, (count, units))) @ NORTH
    return turned + 0.01 * rng.normal(size=(count, units, 3))


def judged(field, known=None, levelled=None, expected_dip=DIP, turn_gate=np.inf):
    known = np.ones(field.shape[:2], bool) if known is None else known
    levelled = np.ones(field.shape[1], bool) if levelled is None else levelled
    return judge_field(field, known, levelled, expected_dip, STEP, Gates(GATE, DIP_GATE, turn_gate))


def test_dip_is_the_angle_below_the_horizon_at_any_heading():
    for heading in (0.0, 1.0, -2.5):
        assert dip_of(heading_matrix(heading) @ NORTH) == pytest.approx(DIP)
    assert dip_of(np.array([0.0, 1.0, 0.0])) == pytest.approx(-np.pi / 2)


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


def standing(count=200, units=1, rate=0.0):
    """The Earth's field whose heading moves at a rate (rad/s), seen in a frame that gyroscopes carry."""
    return np.repeat((heading_matrix(rate * STEP * np.arange(count)) @ NORTH)[:, None], units, 1)


def test_turn_of_the_field_is_what_it_turns_within_two_seconds():
    known = np.ones((200, 1), bool)
    turned = turn_of_field(standing(rate=0.05), known, STEP)
    np.testing.assert_allclose(turned[8:-8], 0.1, atol=1e-9)
    known[100] = False
    assert turn_of_field(standing(rate=0.05), known, STEP)[108, 0] == 0.0


def test_a_heading_that_jumps_at_the_same_norm_and_dip_is_not_trusted_and_a_drift_is():
    """A gyroscope's bias of 0.5 °/s turns the field by 1° in two seconds; here the iron turns it by 30°."""
    field = standing(units=2, rate=np.radians(0.5))
    field[80:120, 0] = (heading_matrix(np.radians(30.0)) @ field[80:120, 0, :, None])[..., 0]
    trust = judged(field, turn_gate=TURN_GATE)
    assert trust.trusted[:, 1].all()
    assert not trust.trusted[[75, 84, 116, 124], 0].any() and trust.trusted[:70, 0].all()
    assert trust.fails["turn"][:, 0].any() and not trust.fails["norm"].any() and not trust.fails["dip"].any()


def test_stretches_name_start_end_and_the_checks_that_fail():
    field, time = clean(units=2), 10.0 + STEP * np.arange(200)
    field[40:60, 0] *= 1.3
    field[64:70, 0] *= 1.3  # half a second later: one stretch
    field[120:140, 0] = np.array([np.cos(0.3), -np.sin(0.3), 0.0]) * 2
    known = np.ones((200, 2), bool)
    mine, other = untrusted(judged(field), known, time)
    assert other == []
    assert [why for _, _, why in mine] == ["norm", "norm and dip"]
    half = STEP / 2
    edges = [(10 + 40 * STEP - half, 10 + 69 * STEP + half), (10 + 120 * STEP - half, 10 + 139 * STEP + half)]
    np.testing.assert_allclose([s[:2] for s in mine], edges)


def test_an_error_that_stays_weighs_once_while_it_lasts():
    """10° for 2 s at a time, 200 deg² s; against a level of 20° that stays 60 s, 24000 deg² s."""
    trust = judged(clean()).with_level(np.radians([20.0, 1.0]), 60.0, np.array([True, True]))
    sd, seconds = trust.spread(np.radians(10.0), 2.0)
    np.testing.assert_allclose((np.degrees(sd) ** 2 * seconds)[3], [24000.0, 200.0])
    np.testing.assert_allclose(np.degrees(sd)[3], [20.0, 10.0])
