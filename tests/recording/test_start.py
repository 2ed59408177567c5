"""Start values: each unit from its own sensors."""
# pyright: reportArgumentType=false, reportCallIssue=false, reportAttributeAccessIssue=false

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.core.rotations import as_complex, heading_matrix
from bodyfit.recording.attitude import start_rotations
from bodyfit.recording.capture import Unit
from bodyfit.recording.preintegration import preintegrate
from bodyfit.recording.resampling import common_signals

UP = np.array([0.0, 1.0, 0.0])
DIP = np.radians(64.0)
NORTH = np.array([np.cos(DIP), -np.sin(DIP), 0.0])
RATE, SECONDS = 100.0, 12.0
TIME = np.arange(0, SECONDS, 1 / RATE)


def truth(speed: float) -> Rotation:
    """A unit that turns about all axes by up to about 70°; speed 1 takes 4 s for a period."""
    phase = 2 * np.pi * 0.25 * speed * TIME[:, None]
    return Rotation.from_rotvec(
        [0.3, 1.0, -0.5] + np.array([0.6, 0.7, 0.5]) * np.sin(phase * [1.0, 0.7, 1.3])
    )


def readings(speed: float) -> dict[str, np.ndarray]:
    """What every sensor of a unit reads that only turns; rates by differences of the rotation."""
    R = truth(speed)
    ahead, behind = (Rotation.from_quat(np.roll(R.as_quat(), -s, axis=0)) for s in (1, -1))
    rate = (behind.inv() * ahead).as_rotvec() * RATE / 2
    rate[[0, -1]] = rate[[1, -2]]
    return {
        "accelerometer": R.inv().apply(9.81 * UP),
        "gyroscope": rate,
        "magnetometer": 48e-6 * R.inv().apply(NORTH),
        "orientation": R.as_quat(),
    }


def started(sensors: tuple[str, ...], speed: float) -> tuple[Rotation, Rotation]:
    """Start rotations of one unit with these sensors, and the truth at the same keyframes."""
    unit = Unit("u", "s", TIME, **{sensor: readings(speed)[sensor] for sensor in sensors})
    signals = common_signals([unit], [unit])
    R = start_rotations(signals, preintegrate(signals), NORTH)[:, 0]
    inside = signals.key_time <= TIME[-1]
    at = np.rint(signals.key_time[inside] * RATE).astype(int)
    return Rotation.from_matrix(R[inside]), truth(speed)[at]


def degrees_between(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    cosine = np.sum(a * b, -1) / np.linalg.norm(a, axis=-1) / np.linalg.norm(b, axis=-1)
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))


def inclination(found: Rotation, true: Rotation) -> np.ndarray:
    return degrees_between(found.inv().apply(UP), true.inv().apply(UP))


# An accelerometer alone sees up as the mean of a second, in which a unit at 0.05 of the speed turns by a few
# tenths of a degree, at full speed by tens.
@pytest.mark.parametrize(
    ("sensors", "speed", "bound_deg"),
    [
        (("accelerometer", "gyroscope"), 1.0, 1.0),
        (("accelerometer", "gyroscope", "magnetometer"), 1.0, 1.0),
        (("accelerometer",), 0.05, 0.5),
        (("accelerometer", "magnetometer"), 0.05, 0.5),
        (("orientation",), 1.0, 0.01),
    ],
    ids=lambda value: "+".join(s[:3] for s in value) if isinstance(value, tuple) else str(value),
)
def test_start_knows_up_where_an_accelerometer_says_so(sensors, speed, bound_deg):
    assert inclination(*started(sensors, speed)).max() < bound_deg


def test_start_from_accelerometer_and_magnetometer_knows_everything_while_slow():
    """Half a degree of inclination (see above) turns a field of 64° dip by tan 64° = 2 times as much."""
    found, true = started(("accelerometer", "magnetometer"), 0.05)
    assert np.degrees((found * true.inv()).magnitude()).max() < 0.5 * (1 + np.tan(DIP))


def test_start_from_gyroscope_and_magnetometer_is_true_but_for_a_turn_about_the_field():
    """No other direction is known, so only that turn, the same all the time, may be left."""
    found, true = started(("gyroscope", "magnetometer"), 1.0)
    left = (found * true.inv()).as_rotvec()
    off_axis = left - np.outer(left @ NORTH, NORTH)
    assert np.degrees(np.linalg.norm(off_axis, axis=-1)).max() < 1.0
    assert np.degrees(np.ptp(left @ NORTH)) < 1.0


def test_start_from_gyroscope_follows_the_turn_since_the_beginning():
    found, true = started(("gyroscope",), 1.0)
    mine, theirs = found[0].inv() * found, true[0].inv() * true
    assert np.degrees((mine * theirs.inv()).magnitude()).max() < 0.2


def test_start_from_magnetometer_points_its_reading_north():
    found, true = started(("magnetometer",), 1.0)
    seen = true.inv().apply(NORTH)
    assert degrees_between(found.apply(seen), np.broadcast_to(NORTH, seen.shape)).max() < 0.1


def test_start_of_a_segment_without_a_unit_is_the_identity():
    empty, other = Unit("e", "s", TIME), Unit("o", "t", TIME, gyroscope=readings(1.0)["gyroscope"])
    signals = common_signals([empty, other], [other])
    R = start_rotations(signals, preintegrate(signals), NORTH)
    np.testing.assert_array_equal(R[:, 0], np.broadcast_to(np.eye(3), (len(R), 3, 3)))


@pytest.mark.parametrize("speed", [0.0, 1.0])
def test_start_copes_with_a_unit_upside_down(speed):
    """Up exactly opposite to the unit's own: the smallest turn is not unique there, and has to be one."""
    over = Rotation.from_rotvec([np.pi, 0, 0])
    force = (
        (over * Rotation.from_rotvec(np.outer(speed * 0.2 * np.sin(TIME), [0, 0, 1]))).inv().apply(9.81 * UP)
    )
    unit = Unit("u", "s", TIME, accelerometer=force)
    signals = common_signals([unit], [unit])
    R = start_rotations(signals, preintegrate(signals), NORTH)[:, 0]
    np.testing.assert_allclose(R @ np.swapaxes(R, -1, -2), np.broadcast_to(np.eye(3), R.shape), atol=1e-12)
    up = (R @ signals.specific_force[:: signals.per_key, 0, :, None])[..., 0]
    assert degrees_between(up, np.broadcast_to(UP, up.shape)).max() < 5.0


def test_as_complex_turns_with_the_heading():
    v, angle = np.array([0.3, -2.0, 0.8]), 0.7
    np.testing.assert_allclose(as_complex(heading_matrix(angle) @ v), np.exp(1j * angle) * as_complex(v))
    assert as_complex(np.array([1.0, 5.0, 0.0])) == 1.0


def test_inclination_beside_a_gap_is_by_what_was_measured():
    """At rest upright for two seconds, then nothing for as long, then shaken: were the gap filtered, 3°."""
    time = np.r_[np.arange(0, 2, 0.01), np.arange(4, 5, 0.01)]
    late = time > 3
    force = np.where(late[:, None], [9.81, 0, 0] + 8 * np.sin(9 * time[:, None] + [0, 1, 2]), 9.81 * UP)
    unit = Unit("u", "s", time, force, np.where(late[:, None], [0.3, 0.2, 0.1], 0.0))
    signals = common_signals([unit], [unit])
    assert signals.lost.any()
    R = start_rotations(signals, preintegrate(signals), NORTH)[:, 0]
    still = signals.key_time < 1.95
    assert degrees_between(R[still, 1], UP).max() < 0.2
