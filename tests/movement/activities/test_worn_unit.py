"""One unit: even samples, up, the body's frame from walking or leaning, features."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.core.gravity import STANDARD_GRAVITY as G
from bodyfit.errors import InputError
from bodyfit.movement.activities.unit.features import features_of
from bodyfit.movement.activities.unit.leaning_frame import leaning_frame
from bodyfit.movement.activities.unit.samples import FREQUENCY, samples_of
from bodyfit.movement.activities.unit.upright import carried, up_of, without_bias
from bodyfit.movement.activities.unit.walking_frame import walking_frame
from bodyfit.movement.activities.unit.worn_frame import worn_frame
from bodyfit.recording.capture import Unit


def walk(seconds: float = 20.0, steps: float = 1.9) -> tuple[np.ndarray, np.ndarray]:
    """Specific force and rate of a walking trunk: forward, left, up; forward leads by 100°."""
    t = np.arange(0, seconds, 1 / FREQUENCY)
    phase = 2 * np.pi * steps * t
    force = np.stack(
        [1.2 * np.cos(phase + np.radians(100)), 0.6 * np.sin(phase / 2), G + 2.5 * np.cos(phase)], 1
    )
    rate = np.stack([0.1 * np.sin(phase / 2), 0.1 * np.sin(phase), 0.3 * np.cos(phase / 2)], 1)
    return force, rate


@pytest.mark.parametrize("seed", range(5))
def test_walking_shows_forward_and_up_however_the_unit_is_turned(seed):
    turn = Rotation.random(rng=np.random.default_rng(seed))
    force, _ = walk()
    unit = turn.inv().apply(force)
    frame = walking_frame(unit, up_of(unit, None))
    assert frame is not None
    assert np.degrees((turn * Rotation.from_matrix(frame).inv()).magnitude()) < 5
    assert worn_frame(unit, up_of(unit, None), None)[1] == "walking"


def test_standing_shows_no_forward():
    force = np.tile([0.0, 0.0, G], (1000, 1)) + np.random.default_rng(0).normal(0, 0.05, (1000, 3))
    up = up_of(force, None)
    assert walking_frame(force, up) is None
    assert worn_frame(force, up, np.array([0, 0, 0, 1.0]))[1] == "mounting"


def test_a_mounting_says_where_forward_is():
    frame, _ = worn_frame(
        np.tile([0.0, G, 0.0], (500, 1)), np.tile([0.0, 1.0, 0.0], (500, 1)), np.array([0, 0, 0, 1.0])
    )
    assert frame == pytest.approx(np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]]))  # X forward, -Z left, Y up


def test_a_brief_lean_shows_forward():
    t = np.arange(0, 12, 1 / FREQUENCY)
    lean = 0.5 * np.exp(-(((t - 4) / 0.5) ** 2)) - 0.4 * ((t > 5) & (t < 8))  # to sit
    up = np.stack([-np.sin(lean), 0 * t, np.cos(lean)], 1)
    turn = Rotation.random(rng=np.random.default_rng(7))
    frame, shown = leaning_frame(turn.inv().apply(up))
    assert shown
    assert np.degrees(np.arccos(frame[0] @ turn.inv().apply([1.0, 0, 0]))) < 5
    assert not leaning_frame(np.tile([0.0, 0.0, 1.0], (500, 1)))[1]


def test_turns_add_up_as_one_by_one():
    rate = np.random.default_rng(0).normal(0, 2, (137, 3))
    one = Rotation.identity()
    for number, step in enumerate(Rotation.from_rotvec(rate / FREQUENCY)):
        assert (carried(rate)[number].inv() * one).magnitude() < 1e-9
        one = one * step


def test_a_gyroscope_bias_is_found():
    rng = np.random.default_rng(0)
    rate = np.cumsum(rng.normal(0, 0.05, (6000, 3)), 0)
    rate -= np.linspace(0, 1, 6000)[:, None] * rate[-1]
    force = carried(rate).inv().apply([0, 0, G])
    found = without_bias(force, rate + np.array([0.05, -0.03, 0.02]))
    assert np.abs(np.mean(found - rate, 0)).max() < 0.01  # a fifth of it: the ridge holds some back


def test_features_do_not_know_how_the_unit_is_turned():
    force, rate = walk(30)
    time = np.arange(len(force)) / FREQUENCY
    straight = features_of(time, force, rate, up_of(force, rate), np.eye(3))
    turn = Rotation.random(rng=np.random.default_rng(3))
    f, w = turn.inv().apply(force), turn.inv().apply(rate)
    turned = features_of(time, f, w, up_of(f, w), turn.as_matrix())
    assert turned.values == pytest.approx(straight.values, abs=1e-6)
    assert np.median(straight.column("cadence")) == pytest.approx(1.9, abs=0.05)
    assert "w2_y" not in features_of(time, force, None, up_of(force, None), np.eye(3)).names


def unit(time, force, rate=None) -> Unit:
    return Unit("phone", "pelvis", time, force, rate)


def test_uneven_samples_with_a_gap_come_on_an_even_clock():
    time = np.sort(np.random.default_rng(0).uniform(0, 30, 3000))
    time = time[(time < 10) | (time > 14)]
    found = samples_of(unit(time, np.stack([np.sin(time), np.cos(time), 0 * time + G], 1)))
    assert np.diff(found.time) == pytest.approx(1 / FREQUENCY)
    assert found.known.mean() == pytest.approx(26 / 30, abs=0.01)
    assert found.force[found.known][:, 0] == pytest.approx(np.sin(found.time[found.known]), abs=0.05)


def test_too_little_is_refused_by_name():
    with pytest.raises(InputError, match=r"units\.phone: found 2\.0 s of samples, expected at least 5 s"):
        samples_of(unit(np.arange(0, 2.01, 0.01), np.ones((201, 3))))
    with pytest.raises(InputError, match=r"units\.phone: no accelerometer"):
        samples_of(Unit("phone", "pelvis", np.arange(1000) / 50))
