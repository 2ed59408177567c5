"""Strides of steps by formulas: events, lengths, heights; files; what is refused."""

# pyright: reportArgumentType=false, reportCallIssue=false, reportOperatorIssue=false, reportOptionalOperand=false
from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.errors import CannotReconstructError, InputError
from bodyfit.feet.samples import foot_samples
from bodyfit.feet.smoother import foot_path
from bodyfit.files.model.model_file import read_model
from bodyfit.movement.strides.belt import against_belt
from bodyfit.movement.strides.foot_motion import motion_of_path
from bodyfit.movement.strides.swings import passes, swings
from bodyfit.recording.capture import Capture
from tests.feet.stepping import stepping


def one_foot(made, **changes):
    unit = dataclasses.replace(made.unit, **changes)
    return Capture({"foot": unit}, read_model("right_leg"))


@pytest.fixture(scope="module")
def walked():
    made = stepping(segment="r_hindfoot")
    return made, bodyfit.strides(one_foot(made))


def test_every_stride_is_there_with_its_length_and_time(walked):
    made, found = walked
    assert len(found.strides) == len(made.off) - 1
    assert all(stride.side == "right" for stride in found.strides)
    assert max(abs(stride.length - made.length) for stride in found.strides) < 0.03
    assert max(abs(stride.duration - 1.1) for stride in found.strides) < 0.02
    assert max(abs(stride.height_change) for stride in found.strides) < 0.02
    assert max(abs(np.degrees(stride.turn)) for stride in found.strides) < 1.0


def test_events_come_in_their_order(walked):
    _, found = walked
    for stride in found.strides:
        assert stride.start < stride.foot_flat < stride.toe_off < stride.mid_swing < stride.end
    assert [event.time for event in found.events] == sorted(event.time for event in found.events)
    assert {event.event for event in found.events} >= {"toe_off", "mid_swing", "heel_strike", "foot_flat"}
    assert all(0 < event.time_sd < 0.1 for event in found.events)


def test_mid_swing_is_half_way(walked):
    made, found = walked
    times = [event.time for event in found.events if event.event == "mid_swing"]
    np.testing.assert_allclose(times, 0.5 * (made.off + made.strike), atol=0.01)


def test_a_foot_that_lands_flat_strikes_when_its_speed_has_gone():
    made = stepping(segment="r_hindfoot", tips=0.0)
    found = bodyfit.strides(one_foot(made))
    strikes = np.array([event.time for event in found.events if event.event == "heel_strike"])
    assert np.abs(strikes - made.strike).max() < 0.07


def test_a_foot_that_turns_on_the_spot_makes_no_stride():
    with pytest.raises(CannotReconstructError, match="no foot swings"):
        bodyfit.strides(one_foot(stepping(0.08, segment="r_hindfoot", tips=0.1, period=1.6)))


def test_the_calmest_instant_of_a_stance_is_one_that_is_believed(walked):
    """Where the kernel says that the foot glides, it may be ever so calm."""
    path = foot_path(foot_samples(walked[0].unit, 9.80665))
    first, calm, last = motion_of_path(path, "right").stances[2]
    gliding = path.weight.copy()
    gliding[: calm + 3] = 0.0
    later = motion_of_path(dataclasses.replace(path, weight=gliding), "right").stances[2]
    assert calm + 3 <= later[1] <= last and later[0] == first


def test_events_of_a_foot_that_turns_are_less_sure(walked):
    """Of open walks with marked events, of turns by over 90° two of three lay in bands of straight steps."""
    motion = motion_of_path(foot_path(foot_samples(walked[0].unit, 9.80665)), "right")
    straight = swings(motion)
    since = motion.time - straight.times["toe_off"][3]
    turn = Rotation.from_rotvec(np.clip(since / 0.4, 0, 1)[:, None] * [0, np.pi / 2, 0]).as_matrix()
    turned = swings(dataclasses.replace(motion, R=turn @ motion.R))
    for event in ("toe_off", "heel_strike"):
        wider = turned.sds[event] / straight.sds[event]
        assert wider[3] > 1.7 and np.delete(wider, 3) == pytest.approx(1.0, abs=0.05)


def test_a_belt_is_put_back(walked):
    """A foot over ground, seen from a room in which a belt takes it back at 1.2 m/s."""
    made, _ = walked
    over = motion_of_path(foot_path(foot_samples(made.unit, 9.80665)), "right")
    belt = np.array([-1.2, 0.0, 0.3])
    place = over.place + over.time[:, None] * belt
    seen = dataclasses.replace(over, velocity=over.velocity + belt, place=place, path=None)
    back = against_belt({"right": seen})["right"]
    np.testing.assert_allclose(back.place - back.place[0], over.place - over.place[0], atol=0.15)
    calm = over.stances[:, 1]
    np.testing.assert_allclose(
        np.diff(back.place[calm], axis=0), np.diff(over.place[calm], axis=0), atol=0.03
    )


def test_one_foot_does_not_tell_when_both_stand(walked):
    assert all(stride.double_support_share is None for stride in walked[1].strides)


def test_a_flight_of_stairs_rises_step_by_step():
    found = bodyfit.strides(one_foot(stepping(0.6, rise=0.34, segment="r_hindfoot")))
    assert max(abs(stride.height_change - 0.34) for stride in found.strides) < 0.03


def test_tables_are_those_of_the_contract(walked, tmp_path):
    _, found = walked
    found.write(tmp_path)
    strides, events = pd.read_csv(tmp_path / "strides.csv"), pd.read_csv(tmp_path / "events.csv")
    assert list(events) == ["time_s", "time_sd_s", "side", "event"]
    assert list(strides)[:6] == ["side", "start_s", "foot_flat_s", "toe_off_s", "mid_swing_s", "end_s"]
    assert strides.double_support_percent.isna().all()
    frame = found.to_frame()
    pd.testing.assert_frame_equal(frame.astype(strides.dtypes), strides, atol=1e-4)
    assert len(found.events_frame()) == len(events) == len(found.events)


def test_standing_is_refused_as_no_step():
    with pytest.raises(CannotReconstructError, match="no foot swings in this recording"):
        bodyfit.strides(standing())


def standing():
    time = np.arange(0, 10, 0.01)
    rng = np.random.default_rng(0)
    unit = dataclasses.replace(
        stepping(segment="r_hindfoot").unit,
        time=time,
        accelerometer=np.array([0, 9.8, 0]) + rng.normal(0, 0.02, (1000, 3)),
        gyroscope=rng.normal(0, 0.002, (1000, 3)),
    )
    return Capture({"foot": unit}, read_model("right_leg"))


def test_a_capture_without_foot_unit_is_refused():
    made = stepping(segment="r_forearm")
    with pytest.raises(InputError, match=r"no unit is worn on a foot \(found foot on r_forearm\)"):
        bodyfit.strides(one_foot(made))


def test_gaps_in_swings_are_told_and_widen_the_bands():
    made = stepping(segment="r_hindfoot")
    middle = 0.5 * (made.off[3] + made.strike[3])
    keep = np.abs(made.unit.time - middle) > 0.05
    cut = {name: getattr(made.unit, name)[keep] for name in ("time", "accelerometer", "gyroscope")}
    found = bodyfit.strides(one_foot(made, **cut))
    assert [finding.kind for finding in found.findings] == ["stride-gaps"]
    sd = [stride.length_sd for stride in found.strides]
    assert sd[2] == max(sd) > 2 * np.median(sd)


@pytest.mark.parametrize(("level", "first", "last"), [(0.5, 0.25, 2.75), (2.0, np.nan, np.nan)])
def test_crossings_lie_between_samples(level, first, last):
    t, y = np.arange(4.0), np.array([0.0, 2.0, 2.0, 0.0]) if level < 2 else np.zeros(4)
    np.testing.assert_allclose(passes(t, y, (0, 4), level), first)
    np.testing.assert_allclose(passes(t, y, (0, 4), level, last=True), last)
