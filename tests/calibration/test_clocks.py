"""Clocks of units against each other: offsets put in are found again, and none where there are none."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.signal import correlate, correlation_lags
from scripted_motion import simulated

from bodyfit.calibration.clocks.pair_offset import pair_clock, rate_clock
from bodyfit.calibration.clocks.unit_clocks import clock_findings, neighbours, on_one_clock, unit_clocks
from bodyfit.recording.capture import Unit
from bodyfit.recording.single_units import unaided


def arm() -> dict[str, Unit]:
    """Four units on an arm that swings for 15 s, their clocks alike."""
    return dict(simulated("right_arm").capture.units)


def late(units: dict[str, Unit], offset, rate) -> dict[str, Unit]:
    """Stamps moved as clocks that are late and fast would write them."""
    changed = {}
    for (name, unit), a, b in zip(units.items(), offset, rate, strict=True):
        changed[name] = dataclasses.replace(unit, time=unit.time + a + b * (unit.time - 7.5))
    return changed


def clocks_of(units: dict[str, Unit], tied: bool = True):
    model = simulated("right_arm").capture.model
    some = list(units.values())
    return unit_clocks(unaided(some), neighbours(some, model) if tied else [])


def test_neighbours_are_the_units_on_both_sides_of_a_joint():
    units = list(arm().values())
    found = neighbours(units, simulated("right_arm").capture.model)
    named = {(units[p].segment, units[c].segment) for p, c in found}
    assert named == {("thorax", "r_upperarm"), ("r_upperarm", "r_forearm"), ("r_forearm", "r_hand")}


def test_clocks_that_agree_are_left_alone():
    units = arm()
    clocks = clocks_of(units)
    assert not clocks.apart.any() and set(clocks.source) == {"joints"}
    assert np.abs(clocks.offset).max() < 0.004 and clocks.offset_sd.max() < 0.005
    assert all(on_one_clock(units, clocks)[name] is unit for name, unit in units.items())
    assert clock_findings(clocks) == ()


@pytest.mark.parametrize("seed", range(3))
def test_offsets_are_found_and_taken_off(seed):
    offset = np.random.default_rng(seed).uniform(-0.2, 0.2, 4)
    units = late(arm(), offset, np.zeros(4))
    clocks = clocks_of(units)
    error = clocks.offset - (offset - np.median(offset))
    assert np.abs(error - np.median(error)).max() < 0.004
    assert np.all(np.abs(error - np.median(error)) < 3 * clocks.offset_sd)
    right = on_one_clock(units, clocks)
    left = np.array([right[n].time - u.time for n, u in arm().items()])
    assert np.abs(left - np.median(left, 0)).max() < 0.005
    told = [f for f in clock_findings(clocks) if f.kind == "clock-offset"]
    assert told and all(f.handled and f.measure == "ms" for f in told)


def test_the_middle_clock_is_taken_to_be_right():
    """One unit of four is late: the three others stay where they are."""
    clocks = clocks_of(late(arm(), [0.0, 0.0, 0.15, 0.0], np.zeros(4)))
    assert np.abs(clocks.offset[[0, 1, 3]]).max() < 0.004
    assert clocks.offset[2] == pytest.approx(0.15, abs=0.004)


def test_a_rate_is_found_over_a_long_capture():
    """Ten copies of the swing one after another: 150 s, in which 200 ppm gain 30 ms."""
    units = {}
    for n, (name, u) in enumerate(arm().items()):
        step = u.time[1] - u.time[0]
        time = u.time[0] + step * np.arange(10 * len(u.time))
        values = {s: np.tile(getattr(u, s), (10, 1)) for s in ("accelerometer", "gyroscope")}
        fast = 2e-4 if n == 3 else 0.0
        moved = time + fast * (time - 75.0)
        units[name] = dataclasses.replace(u, time=moved, magnetometer=None, **values)
    clocks = clocks_of(units)
    assert 1e6 * clocks.rate[3] == pytest.approx(200, abs=30)
    assert 1e6 * np.abs(clocks.rate[:3]).max() < 30
    assert [f.kind for f in clock_findings(clocks)] == ["clock-rate"]


def test_where_nothing_moves_nothing_is_found():
    time, rng = np.arange(0, 20, 0.02), np.random.default_rng(0)
    up = np.tile([0.0, 9.81, 0.0], (len(time), 1))

    def still(name: str, segment: str) -> Unit:
        noise = rng.normal(size=(2, len(time), 3))
        return Unit(name, segment, time, up + 0.02 * noise[0], 0.002 * noise[1])

    clocks = clocks_of({"a": still("a", "thorax"), "b": still("b", "r_upperarm")})
    assert not clocks.apart.any()
    assert not np.any(np.abs(np.nan_to_num(clocks.offset)) > 3 * clocks.offset_sd)
    assert [f.kind for f in clock_findings(clocks)] == ["clock-unknown"]


def test_too_short_a_capture_tells_nothing():
    units = {name: unit.between(2.0, 6.0) for name, unit in arm().items()}
    assert set(clocks_of(units).source) == {"nothing"}


def test_without_a_joint_the_rates_tell_the_lag_that_scipy_finds():
    """Against scipy.signal.correlate on the norms of the rates, to one sample; and the lag put in."""
    unit = arm()["r_hand_unit"]
    other = dataclasses.replace(unit, name="other", segment=None, time=unit.time + 0.123)
    one = unaided([unit, other])
    found = rate_clock(one, 0, 1)
    norm = np.linalg.norm(one.signals.rate, axis=-1)
    a, b = (norm - norm.mean(0)).T
    lag = correlation_lags(len(b), len(a))[np.argmax(correlate(b, a))] * one.step
    assert found.offset[0] == pytest.approx(lag, abs=one.step)
    assert found.offset[0] == pytest.approx(0.123, abs=0.003)
    assert found.sd[0] >= 0.03
    assert clocks_of({"a": unit, "other": other}, tied=False).source == ("angular rates", "angular rates")


def test_units_that_turn_differently_are_not_compared():
    rng = np.random.default_rng(1)
    unit = arm()["r_hand_unit"]
    assert unit.gyroscope is not None
    other = dataclasses.replace(unit, name="b", gyroscope=rng.normal(size=unit.gyroscope.shape))
    assert not len(rate_clock(unaided([unit, other]), 0, 1).at)


def test_stated_deviations_hold():
    """Errors over deviations of all joints and stretches, 8 seeds of offsets: none beyond three."""
    z = []
    for seed in range(8):
        offset = np.random.default_rng(100 + seed).uniform(-0.2, 0.2, 4)
        one = unaided(list(late(arm(), offset, np.zeros(4)).values()))
        for p, c in ((0, 1), (1, 2), (2, 3)):
            pair = pair_clock(one, p, c)
            z.extend((pair.offset - (offset[c] - offset[p])) / np.hypot(pair.sd, 0.0015))
    assert len(z) == 24 and np.abs(z).max() < 3
