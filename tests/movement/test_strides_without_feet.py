"""Times of steps from calves, pockets and the waist: by formulas, on recordings with references, refusals."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.errors import CannotReconstructError
from bodyfit.files.model.model_file import read_model
from bodyfit.recording.capture import Capture, Unit

G = 9.80665
PERIOD = 1.1  # s, of a stride


def calf(turned=None, segment="r_calf"):
    """A calf that swings forward fast for 0.44 s, twenty times, and back with two troughs in between."""
    time = np.arange(0, 26, 0.01)
    phase = (time - 2) / PERIOD % 1.0
    walks = (time > 2) & (time < 2 + 20 * PERIOD)
    rate = np.where(
        phase < 0.4, 6 * np.sin(np.pi * phase / 0.4), -2.4 * np.sin(2 * np.pi * (phase - 0.4) / 0.6) ** 2
    )
    rate = np.stack([0 * time, 0 * time, np.where(walks, rate, 0.0)], 1)
    force = np.tile([0.0, G, 0.0], (len(time), 1))
    if turned is not None:
        rate, force = turned.apply(rate), turned.apply(force)
    return Unit("unit", segment, time, force, rate)


def found_in(unit):
    return bodyfit.strides(Capture({unit.name: unit}, read_model("lower_body")))


@pytest.mark.parametrize("turned", [None, Rotation.from_rotvec([0.3, 2.0, -1.1])])
def test_a_calf_turned_anyhow_tells_times_and_nothing_else(turned):
    found = found_in(calf(turned))
    assert [stride.side for stride in found.strides] == ["right"] * 18
    assert max(abs(stride.duration - PERIOD) for stride in found.strides) < 0.01
    assert all(stride.length is None and stride.height_change is None for stride in found.strides)
    strike = np.array([event.time for event in found.events if event.event == "heel_strike"])
    off = np.array([event.time for event in found.events if event.event == "toe_off"])
    late = (strike - 2) / PERIOD % 1.0
    assert np.all((late > 0.4) & (late < 0.6)) and np.all((off - 2) / PERIOD % 1.0 > 0.7)
    assert [finding.kind for finding in found.findings] == ["steps-only"]
    assert "lengths" in found.findings[0].what


def test_two_calves_tell_when_both_feet_stand():
    right, left = calf(), calf(segment="l_calf")
    late = dataclasses.replace(left, name="left", time=left.time + 0.35 * PERIOD)
    found = bodyfit.strides(Capture({"unit": right, "left": late}, read_model("lower_body")))
    both = [stride.double_support_share for stride in found.strides[4:-4]]
    stance = np.mean([stride.stance_share for stride in found.strides])
    assert stance > 0.4
    np.testing.assert_allclose(both, stance - 0.35, atol=0.01)


def test_a_calf_at_rest_does_not_walk():
    still = dataclasses.replace(calf(), gyroscope=np.zeros((2600, 3)))
    with pytest.raises(CannotReconstructError, match="nobody walks in what unit recorded"):
        found_in(still)


def waist(rhythm):
    time = np.arange(0, 30, 0.02)
    up = G + rhythm(time)
    return Unit("phone", "pelvis", time, np.stack([0 * up, up, 0 * up], 1), None)


@pytest.mark.parametrize(
    ("step", "rhythm"),
    [
        (0.55, lambda t: 2 * np.sin(2 * np.pi * t / 0.55)),
        (0.9, lambda t: 2 * np.sin(2 * np.pi * t / 0.9)),  # a slow walker's step, not a stride
        (0.6, lambda t: np.sin(2 * np.pi * t / 1.2) + 2 * np.sin(2 * np.pi * t / 0.6)),
        (0.37, lambda t: 8 * np.sin(2 * np.pi * t / 0.37)),
    ],
)
def test_steps_of_a_rhythm_are_counted(step, rhythm):
    found = found_in(waist(rhythm))
    times = [event.time for event in found.events]
    assert abs(len(times) - 30 / step) <= 2
    assert np.median(np.diff(times)) == pytest.approx(step, abs=0.02)
    assert all(event.side == "none" and event.event == "heel_strike" for event in found.events)
    assert all(stride.stance_share is None and stride.length is None for stride in found.strides)
    assert np.median([stride.duration for stride in found.strides]) == pytest.approx(2 * step, abs=0.03)


def test_a_phone_at_rest_does_not_walk():
    with pytest.raises(CannotReconstructError, match="nobody walks"):
        found_in(waist(lambda t: 0.01 * np.sin(40 * t)))


@pytest.mark.parametrize("pocket", ["user1_backpocket", "user1_frontpocket"])
def test_steps_of_a_pocket_agree_with_a_step_counter(recordings, pocket):
    """Salvi et al., steps of another device worn at the same time (CC BY 4.0)."""
    table = pd.read_parquet(recordings / "steps_phone" / f"{pocket}.parquet").astype(float)
    table = table[np.r_[True, np.diff(table.t) > 1e-4]]
    force = table[["acc_x", "acc_y", "acc_z"]].to_numpy()
    found = found_in(Unit("phone", "l_thigh", table.t.to_numpy(), force, None))
    counted = pd.read_csv(recordings / "steps_phone" / f"{pocket}_steps.csv")
    assert len(found.events) == pytest.approx(len(counted), rel=0.05)


@pytest.mark.parametrize("walker", ["subject01_01", "subject07_01"])
def test_stance_of_a_calf_is_that_of_walking(recordings, walker):
    """Stance about 60 % of the stride (Perry & Burnfield 2010, from memory); median of level walking."""
    folder = recordings / "activity_shank_terrain" / walker
    table = pd.read_parquet(folder / "shank.parquet").astype(float)
    columns = [table[[f"{sensor}_{axis}" for axis in "xyz"]].to_numpy() for sensor in ("acc", "gyr")]
    found = found_in(Unit("unit", "r_calf", table.t.to_numpy(), *columns)).to_frame()
    labels = pd.read_csv(folder / "labels.csv")
    at = np.searchsorted(labels.t_start, found.start_s, side="right") - 1
    level = found[labels.activity.to_numpy()[at] == "level_or_standing"]
    assert len(level) > 100
    assert 58 < level.stance_percent.median() < 64.5
