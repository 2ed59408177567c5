"""What names of columns, files and sizes of numbers are taken for."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.files.draft.column_names import column_name, words_of
from bodyfit.files.draft.places import segments_meant
from bodyfit.files.draft.sizes import acceleration_unit, field_unit, turning_unit


@pytest.mark.parametrize(
    ("name", "sensor", "axis", "label", "unit"),
    [
        ("ax", "accelerometer", "x", "", None),
        ("AccX", "accelerometer", "x", "", None),
        ("GYRO-Y", "gyroscope", "y", "", None),
        ("wz", "gyroscope", "z", "", None),
        ("Acceleration X (m/s²)", "accelerometer", "x", "", "m/s^2"),
        ("imu1_gyr_z_dps", "gyroscope", "z", "imu_1", "deg/s"),
        ("left_thigh_mag_y_mG", "magnetometer", "y", "left_thigh", "mG"),
        ("acc_x_mg", "accelerometer", "x", "", "mg"),
        ("q0", "orientation", "w", "", None),
        ("Quat_W", "orientation", "w", "", None),
        ("x", None, "x", "", None),
    ],
)
def test_columns(name: str, sensor: str | None, axis: str, label: str, unit: str | None) -> None:
    found = column_name(name)
    assert found is not None
    assert (found.sensor, found.axis, found.label, found.unit) == (sensor, axis, label, unit)


@pytest.mark.parametrize("name", ["time_s", "temperature", "heart rate", "t", "marker"])
def test_columns_of_nothing_worn(name: str) -> None:
    assert column_name(name) is None


def test_gravity_removed_is_seen() -> None:
    for name in ("FreeAcc_X", "linear acceleration x", "userAccelerationX"):
        found = column_name(name)
        assert found is not None and found.gravity_free


@pytest.mark.parametrize(
    ("name", "segments"),
    [
        ("left shank", ("l_calf",)),
        ("RFoot", ("r_hindfoot",)),
        ("thigh_R", ("r_thigh",)),
        ("lower back", ("pelvis",)),
        ("sternum_imu", ("thorax",)),
        ("wrist", ("l_forearm", "r_forearm")),
        ("right ankle", ("r_calf", "r_hindfoot")),
        ("imu_3", ()),
    ],
)
def test_places(name: str, segments: tuple[str, ...]) -> None:
    assert segments_meant(words_of(name)) == segments


@pytest.mark.parametrize(
    ("gravity", "unit"),
    [(9.81, "m/s^2"), (1.0, "g"), (981.0, "cm/s^2"), (1003.0, "mg"), (16384.0, None)],
)
def test_gravity_tells_the_unit(gravity: float, unit: str | None) -> None:
    values = np.tile([0.0, gravity, 0.0], (100, 1))
    assert acceleration_unit(values)[0] == unit


@pytest.mark.parametrize(
    ("norm", "unit"),
    [(48.0, "uT"), (0.48, "G"), (480.0, "mG"), (48000.0, "nT"), (4.8e-5, "T"), (1.0, "arbitrary")],
)
def test_the_earths_field_tells_the_unit(norm: float, unit: str) -> None:
    assert field_unit(np.tile([norm, 0.0, 0.0], (100, 1)))[0] == unit


@pytest.mark.parametrize(("unit", "factor"), [("rad/s", 1.0), ("deg/s", 180 / np.pi)])
def test_turning_gravity_tells_the_unit_of_rates(unit: str, factor: float) -> None:
    """A slow pendulum about X; slow enough that the size of its rates tells nothing."""
    t = np.arange(0, 20, 0.01)
    angle = 0.5 * np.sin(t)
    force = 9.81 * np.stack([0 * t, np.cos(angle), -np.sin(angle)], axis=1)
    rate = np.stack([0.5 * np.cos(t), 0 * t, 0 * t], axis=1) * factor
    assert turning_unit(rate, force, 0.01)[0] == unit
    assert turning_unit(rate, None, 0.01)[0] is None
