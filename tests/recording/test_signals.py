"""Units on one clock: resampling, gaps, the gyroscope between keyframes, and averages about them."""
# pyright: reportIndexIssue=false

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation, Slerp

import bodyfit.recording.keyframe_averages
from bodyfit.core.rotations import apply, exp, log
from bodyfit.recording.capture import Unit
from bodyfit.recording.keyframe_averages import averages
from bodyfit.recording.preintegration import between_keyframes, lever_matrix, preintegrate
from bodyfit.recording.resampling import KEYFRAME_HZ, KEYFRAME_HZ_WITHOUT_GYROSCOPE, common_signals
from bodyfit.recording.rest import REST_S

GRAVITY = np.array([0.0, 9.81, 0.0])
FREQUENCIES = np.array([0.5, 0.8, 1.1])  # Hz, the axes of the test signals


def wave(time, size=2.0, phase=0.0):
    """(N, 3) smooth signal that a spline through 100 Hz samples follows to about 1e-6."""
    return size * np.sin(2 * np.pi * FREQUENCIES * np.asarray(time)[:, None] + phase + np.arange(3))


def unit(name="a", time=None, **sensors) -> Unit:
    time = np.arange(0, 4.001, 0.01) if time is None else time
    sensors = sensors or {"gyroscope": wave(time), "accelerometer": wave(time, 3.0) + GRAVITY}
    return Unit(name, "s", time, **sensors)


def one(u: Unit, **options):
    return common_signals([u], [u], **options)


# ---- the common clock ----


@pytest.mark.parametrize(("hertz", "decimals"), [(100, 9), (60, 6), (120, 4)])
def test_shared_regular_stamps_are_kept_as_they_are(hertz, decimals):
    """Also when they were written with few decimals, so that no two steps are quite alike."""
    time = 3.0 + np.round(np.arange(6000) / hertz, decimals)
    signals = common_signals([unit("a", time), unit("b", time)], [unit("a", time), unit("b", time)])
    np.testing.assert_array_equal(signals.time, time)


def test_the_output_covers_what_the_units_share_at_the_fastest_rate():
    fast, slow = unit("fast", np.arange(0.503, 5, 0.01)), unit("slow", np.arange(0, 4, 0.02))
    for order in ([fast, slow], [slow, fast]):
        time = common_signals(order, order).time
        assert time[0] == pytest.approx(0.503) and 3.98 - 0.01 < time[-1] <= 3.98
        np.testing.assert_allclose(np.diff(time), 0.01, rtol=1e-9)


def test_units_of_different_rates_and_stamps_agree_after_resampling():
    rng = np.random.default_rng(0)
    uneven = np.sort(rng.uniform(0, 4, 400))
    uneven = uneven[np.concatenate([[True], np.diff(uneven) > 2e-3])]
    units = [
        unit("even"),
        unit("uneven", np.unique(np.r_[0, uneven, 4.0])),
        unit("slow", np.arange(0, 4.01, 0.02)),
    ]
    signals = common_signals(units, units)
    middle = slice(8, -8)  # splines are free at their ends
    for name, size in (("rate", 2e-3), ("specific_force", 5e-3)):
        values = getattr(signals, name)[middle]
        np.testing.assert_allclose(values[:, 1], values[:, 0], atol=size * 5)
        np.testing.assert_allclose(values[:, 2], values[:, 0], atol=size)


def test_frames_go_on_to_the_end_of_the_last_interval_and_values_are_held_there():
    signals = one(unit(time=np.arange(0, 3.333, 0.01), gyroscope=np.full((334, 3), 0.3)))
    q = signals.stride * signals.per_key
    assert len(signals.turns) == signals.intervals * q >= len(signals.time) - 1
    assert len(signals.rate) == signals.intervals * signals.per_key + 1
    np.testing.assert_allclose(signals.rate, 0.3, atol=1e-12)
    assert signals.key_time[-1] >= signals.time[-1] - 1e-9
    assert signals.key_time[1] - signals.key_time[0] == pytest.approx(signals.key_step)


@pytest.mark.parametrize("hertz", [20, 40, 50, 100, 286, 400])
def test_keyframes_come_about_as_often_as_meant(hertz):
    time = np.arange(0, 3, 1 / hertz)
    assert 1 / one(unit(time=time)).key_step == pytest.approx(KEYFRAME_HZ, rel=0.35)
    without = one(unit(time=time, accelerometer=wave(time)))
    assert 1 / without.key_step == pytest.approx(KEYFRAME_HZ_WITHOUT_GYROSCOPE, rel=0.35)


def test_a_segment_without_a_unit_stands_by_in_silence():
    u = unit()
    empty = Unit("empty", "t", u.time)
    signals = common_signals([u, empty], [u])
    assert not any(has[1] for has in signals.has.values())
    assert not any(known[:, 1].any() for known in signals.known.values())
    assert not signals.turns[:, 1].any() and not signals.specific_force[:, 1].any()


# ---- what sensors become ----


def test_rate_and_its_derivative_are_those_of_the_gyroscope():
    time = np.arange(0, 4.001, 0.02)
    signals = one(unit(time=time))  # 50 Hz: samples are frames, nothing is averaged
    assert signals.stride == 1
    at = signals.time[0] + signals.step * np.arange(len(signals.rate))
    inside = (at > 0.1) & (at < 3.9)
    slope = 2.0 * 2 * np.pi * FREQUENCIES * np.cos(2 * np.pi * FREQUENCIES * at[:, None] + np.arange(3))
    np.testing.assert_allclose(signals.rate[inside, 0], wave(at)[inside], atol=1e-4)
    np.testing.assert_allclose(signals.rate_derivative[inside, 0], slope[inside], atol=2e-2)


def test_latency_moves_the_gyroscope_and_nothing_else():
    lag, time = 0.004, np.arange(0, 4.001, 0.02)
    late = unit(time=time, gyroscope=wave(time - lag), accelerometer=wave(time, 3.0))
    signals, on_time = (
        one(late, latency=lag),
        one(unit(time=time, gyroscope=wave(time), accelerometer=wave(time, 3.0))),
    )
    inside = slice(5, 190)  # within 3.8 s; a spline is free at its ends
    np.testing.assert_allclose(signals.rate[inside], on_time.rate[inside], atol=1e-4)
    np.testing.assert_allclose(signals.turns[inside], on_time.turns[inside], atol=1e-5)
    np.testing.assert_array_equal(signals.specific_force, on_time.specific_force)
    assert np.abs(one(late).rate[inside] - on_time.rate[inside]).max() > 0.02


@pytest.mark.parametrize("scale", [1.0, 48e-6, 700.0])
def test_the_field_is_measured_in_its_own_usual_length(scale):
    time = np.arange(0, 4, 0.01)
    direction = exp(wave(time, 1.0)) @ np.array([0.4, -0.9, 0.1])
    field = one(unit(time=time, magnetometer=scale * direction)).field[:, 0]
    np.testing.assert_allclose(np.linalg.norm(field, axis=-1), 1.0, atol=1e-3)


def test_an_orientation_is_interpolated_on_the_sphere_and_differenced():
    time = np.arange(0, 3, 0.02)
    truth = Rotation.from_rotvec(wave(time, 1.2))
    quat = truth.as_quat() * np.where(np.arange(len(time)) % 3, 1, -1)[:, None]  # either sign is the same
    signals = one(unit(time=time, orientation=quat))
    assert signals.attitude is not None
    kept = signals.attitude[: len(time) // signals.stride, 0]
    np.testing.assert_allclose(kept, truth[:: signals.stride].as_matrix()[: len(kept)], atol=1e-12)
    turns = (truth[:-1].inv() * truth[1:]).as_rotvec()
    np.testing.assert_allclose(signals.turns[: len(turns), 0], turns, atol=1e-9)


# ---- gaps ----


def with_gap(u: Unit, start: float, end: float, rows: bool) -> Unit:
    """The unit without values between two times: NaN rows, or no rows at all."""
    keep = (u.time < start) | (u.time > end)
    if rows:
        return dataclasses.replace(u, time=u.time[keep], **{s: getattr(u, s)[keep] for s in u.sensors})
    return dataclasses.replace(u, **{s: np.where(keep[:, None], getattr(u, s), np.nan) for s in u.sensors})


@pytest.mark.parametrize("rows", [False, True], ids=["NaN rows", "rows left out"])
def test_a_short_gap_is_bridged_and_remembered(rows):
    whole = unit()
    signals = one(with_gap(whole, 1.8, 2.0, rows))
    assert all(np.isfinite(x).all() for x in (signals.rate, signals.turns, signals.specific_force))
    at = signals.time[0] + signals.step * signals.stride * np.arange(len(signals.rate))
    gone, there = (at > 1.80) & (at < 1.99), (at < 1.78) | ((at > 2.02) & (at < 4.0))
    for sensor in ("gyroscope", "accelerometer"):
        assert not signals.known[sensor][gone].any() and signals.known[sensor][there].all()
    unknown = signals.turn_unknown[:, 0]
    inside = (signals.key_time[:-1] > 1.7) & (signals.key_time[1:] < 2.1)
    assert unknown[inside].max() > 0.01 and not unknown[signals.key_time[1:] < 1.75].any()


def test_a_longer_gap_leaves_the_turn_less_certain():
    """As (gap / 0.25 s)⁴: how far a cubic goes astray grows like the fourth power (de Boor 1978, ch. V)."""
    found = [one(with_gap(unit(), 1.0, 1.0 + gap, True)) for gap in (0.05, 0.1, 0.2)]
    worst = [signals.turn_unknown[signals.key_time[:-1] < 3].max() for signals in found]
    assert 0 < worst[0] < worst[1] < worst[2] <= 1
    assert worst[2] / worst[0] > 50


def test_a_magnetometer_may_be_away_for_long():
    u = unit()
    field = np.tile([0.5, -0.8, 0.0], (len(u.time), 1))
    field[100:300] = np.nan
    signals = one(dataclasses.replace(u, magnetometer=field))
    known = signals.known["magnetometer"][:, 0]
    assert 0.4 < known.mean() < 0.6
    np.testing.assert_allclose(
        signals.field[known, 0], [field[0] / np.linalg.norm(field[0])] * known.sum(), atol=1e-9
    )


def test_rest_is_seen_and_its_rate_is_the_bias():
    time = np.arange(0, 8, 0.02)
    bias, rng = np.radians([0.4, -0.2, 0.1]), np.random.default_rng(0)
    moving = (time > 3)[:, None] * wave(time, 1.0)
    gyroscope = bias + moving + rng.normal(size=(len(time), 3)) * np.radians(0.05)
    force = np.tile([0, 9.81, 0.0], (len(time), 1)) + (time > 3)[:, None] * wave(time)
    signals = one(unit(time=time, gyroscope=gyroscope, accelerometer=force))
    seen = np.isfinite(signals.rest_rate[:, 0]).all(-1)
    before, after = 3.0 - 0.5 * REST_S - 0.1, 3.0 + 0.5 * REST_S + 0.1  # the window lies in one of the two
    assert seen[signals.key_time < before].all() and not seen[signals.key_time > after].any()
    np.testing.assert_allclose(
        signals.rest_rate[seen, 0], np.tile(bias, (seen.sum(), 1)), atol=np.radians(0.05)
    )


# ---- turns between keyframes ----


def integrated(rate, end: float) -> np.ndarray:
    """Rotation by an angular rate in the turning frame from 0 on: Ṙ = R [ω]×, by scipy's integrator."""

    def slope(t, R):
        return (R.reshape(3, 3) @ np.cross(np.eye(3), rate(t))).ravel()  # rows of cross(I, ω) are e_i × ω

    found = solve_ivp(slope, (0, end), np.eye(3).ravel(), rtol=1e-10, atol=1e-12, method="DOP853")
    return found.y[:, -1].reshape(3, 3)


# Without the Magnus term: 0.012 and 0.076°. What is left is the next order, and the spline at its ends.
@pytest.mark.parametrize(("hertz", "bound_deg"), [(100, 1e-3), (40, 0.01)])
def test_turns_are_the_integral_of_the_rate(hertz, bound_deg):
    """All axes at once, up to 3 rad/s: a sum of rotation vectors alone would miss the coning."""
    time = np.arange(0, 4, 1 / hertz)
    signals = one(unit(time=time, gyroscope=wave(time, 3.0)))
    steps = preintegrate(signals).carried[:, -1, 0]
    whole = np.eye(3)
    count = int(3 / signals.key_step)
    for step in steps[:count]:
        whole = whole @ step
    truth = integrated(lambda t: wave([t], 3.0)[0], count * signals.key_step)
    assert np.degrees(np.linalg.norm(log(truth.T @ whole))) < bound_deg


def test_carried_turns_meet_every_sample():
    signals = one(unit())
    turns = preintegrate(signals)
    K, q, stride = signals.intervals, signals.per_key, signals.stride
    assert turns.carried.shape == (K, q + 1, 1, 3, 3)
    R = np.eye(3)
    for frame in range(q * stride):
        if frame % stride == 0:
            np.testing.assert_allclose(turns.carried[0, frame // stride, 0], R, atol=1e-12)
        R = R @ Rotation.from_rotvec(signals.turns[frame, 0]).as_matrix()
    np.testing.assert_allclose(turns.carried[0, -1, 0], R, atol=1e-12)


def test_by_bias_is_what_taking_a_bias_off_the_gyroscope_does():
    """What a bias does within a frame is left out: half the turn of one frame, relative to the slope."""
    time = np.arange(0, 2, 0.01)
    left_out = 0.5 * 0.01 * np.linalg.norm(wave(time, 3.0), axis=-1).max()
    assert left_out < 0.03
    bias = np.radians([0.5, -1.0, 0.7])
    with_bias = preintegrate(one(unit(time=time, gyroscope=wave(time, 3.0))))
    without = preintegrate(one(unit(time=time, gyroscope=wave(time, 3.0) - bias)))
    corrected = with_bias.carried[:, -1] @ exp(
        apply(with_bias.by_bias, np.broadcast_to(bias, with_bias.by_bias.shape[:-1]))
    )
    missed = log(np.swapaxes(corrected, -1, -2) @ without.carried[:, -1])
    whole = log(np.swapaxes(with_bias.carried[:, -1], -1, -2) @ without.carried[:, -1])
    assert np.linalg.norm(missed, axis=-1).max() < left_out * np.linalg.norm(whole, axis=-1).min()


def test_between_keyframes_meets_both_ends_and_follows_the_gyroscope_exactly():
    carried = preintegrate(one(unit())).carried
    R = np.empty((len(carried) + 1, 1, 3, 3))
    R[0] = Rotation.from_rotvec([0.3, -1.0, 0.2]).as_matrix()
    for k, D in enumerate(carried):
        R[k + 1] = R[k] @ D[-1]
    J = carried.shape[1] - 1
    steps = between_keyframes(R, carried)
    np.testing.assert_allclose(steps[:-1].reshape(-1, J, 1, 3, 3), R[:-1, None] @ carried[:, :J], atol=1e-9)
    bent = exp(0.1 * np.random.default_rng(0).normal(size=(len(R), 1, 3))) @ R
    np.testing.assert_allclose(between_keyframes(bent, carried)[::J], bent, atol=1e-12)


def test_between_keyframes_without_a_gyroscope_is_scipys_slerp():
    R = Rotation.from_rotvec(0.5 * np.random.default_rng(1).normal(size=(6, 3)))
    carried = np.broadcast_to(np.eye(3), (5, 5, 1, 3, 3))
    found = between_keyframes(R.as_matrix()[:, None], carried)[:, 0]
    np.testing.assert_allclose(found, Slerp(np.arange(6), R)(np.arange(21) / 4).as_matrix(), atol=1e-12)


def test_between_keyframes_spreads_what_the_gyroscope_missed_evenly():
    carried = preintegrate(one(unit())).carried[:1]
    end = carried[:1, -1] @ exp(np.array([[[0.0, 0.02, 0.0]]]))
    R = np.concatenate([np.eye(3)[None, None], end])
    steps, J = between_keyframes(R, carried)[:, 0], carried.shape[1] - 1
    extra = log(steps[:J] @ np.swapaxes(carried[0, :J, 0], -1, -2))  # world frame: one axis, growing evenly
    np.testing.assert_allclose(np.linalg.norm(extra, axis=-1), 0.02 * np.arange(J) / J, atol=1e-10)


def test_lever_matrix_is_the_acceleration_of_a_turning_body():
    """α × r + ω × (ω × r), and the second difference of a point on a body that turns as ω says."""
    rate, change, r = np.random.default_rng(2).normal(size=(3, 3))
    expected = np.cross(change, r) + np.cross(rate, np.cross(rate, r))
    np.testing.assert_allclose(lever_matrix(rate, change) @ r, expected, atol=1e-12)
    h = 1e-3
    # rotation vector ω h ± … with rate ω and derivative α at the middle: Exp(ω h + α h²/2) to second order
    ahead, behind = (Rotation.from_rotvec(s * h * rate + h * h / 2 * change).apply(r) for s in (1, -1))
    np.testing.assert_allclose((ahead - 2 * r + behind) / h**2, expected, atol=1e-4)


# ---- averages about keyframes ----


def test_averages_of_a_unit_at_rest_are_its_readings():
    up = np.array([0.0, 9.81, 0.0])
    R = Rotation.from_rotvec([0.4, -0.3, 1.2])
    time = np.arange(0, 3, 0.01)
    still = unit(
        time=time,
        accelerometer=np.tile(R.inv().apply(up), (300, 1)),
        gyroscope=np.zeros((300, 3)),
        magnetometer=np.tile(R.inv().apply([0.6, -0.8, 0.0]), (300, 1)),
    )
    signals = one(still)
    R_key = np.broadcast_to(R.as_matrix(), (signals.intervals + 1, 1, 3, 3))
    average = averages(signals, preintegrate(signals), R_key)
    np.testing.assert_allclose(average.force[:, 0], np.tile(up, (len(R_key), 1)), atol=1e-9)
    np.testing.assert_allclose(average.field[:, 0], np.tile([0.6, -0.8, 0.0], (len(R_key), 1)), atol=1e-9)
    np.testing.assert_allclose(average.lever, 0.0, atol=1e-12)
    assert average.known.all() and average.field_known.all()


def spinning():
    """A unit on a body that turns fast, and its averages."""
    time = np.arange(0, 6, 0.02)
    signals = one(unit(time=time, gyroscope=wave(time, 3.0), accelerometer=wave(time) + GRAVITY))
    turns = preintegrate(signals)
    R = np.empty((signals.intervals + 1, 1, 3, 3))
    R[0] = np.eye(3)
    for k, D in enumerate(turns.carried):
        R[k + 1] = R[k] @ D[-1]
    return signals, turns, R


def test_averages_in_chunks_are_those_of_the_whole(monkeypatch):
    whole = averages(*spinning(), by_latency=True)
    monkeypatch.setattr(bodyfit.recording.keyframe_averages, "CHUNK", 7)
    parts = averages(*spinning(), by_latency=True)
    for field in ("force", "lever", "field", "known", "field_known", "force_by_latency"):
        np.testing.assert_allclose(getattr(parts, field), getattr(whole, field), atol=1e-11)


def test_averages_turn_with_the_body_when_all_rotations_turn_alike():
    signals, turns, R = spinning()
    Q = Rotation.from_rotvec([0.5, 1.0, -0.2]).as_matrix()
    before, after = averages(signals, turns, R), averages(signals, turns, Q @ R)
    np.testing.assert_allclose(after.force, before.force @ Q.T, atol=1e-9)
    np.testing.assert_allclose(after.lever, Q @ before.lever, atol=1e-9)


def test_averages_of_both_ends_of_a_joint_agree():
    """Two units on one turning body, lever arms to one point: the same force there, averaged or not."""
    signals, turns, R = spinning()
    arm = np.array([0.1, -0.2, 0.05])
    K = lever_matrix(signals.rate, signals.rate_derivative)
    moved = dataclasses.replace(signals, specific_force=signals.specific_force + apply(K, arm))
    one_end, other = averages(signals, turns, R), averages(moved, turns, R)
    np.testing.assert_allclose(one_end.force + one_end.lever @ arm, other.force, atol=1e-9)


def test_slopes_by_latency_are_differences():
    """Read later by h, a gyroscope runs ahead by h: its rate and the rotations between keyframes.

    The slope of the lever matrix is itself a difference over 40 ms of a motion below 4 Hz: 5 % is asked for.
    """
    time, h = np.arange(0, 6, 0.02), 1e-4
    u = unit(time=time, gyroscope=wave(time, 3.0), accelerometer=wave(time) + GRAVITY)
    _, _, R = spinning()
    rate = one(u).rate[:: one(u).per_key]

    def later(shift):
        signals = one(u, latency=shift)
        return averages(signals, preintegrate(signals), R @ exp(rate * shift))

    average = averages(one(u), preintegrate(one(u)), R, by_latency=True)
    for name, share in (("force", 2e-3), ("lever", 0.05)):
        ahead, behind = getattr(later(h), name), getattr(later(-h), name)
        numerical = ((ahead - behind) / (2 * h))[3:-3]
        slope = getattr(average, f"{name}_by_latency")[3:-3]
        assert np.abs(slope - numerical).max() < share * np.abs(numerical).max()
