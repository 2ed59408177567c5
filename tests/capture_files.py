"""A small capture folder to read, whole or with one thing wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import pandas as pd

T = TypeVar("T")

SETUP = """\
title = "Thigh and calf"
start_time = 2026-03-01T10:00:00Z
place = { latitude_deg = 47.1, longitude_deg = 9.5, height_m = 450 }

[person]
stature_m = 1.72
mass_kg = 64
sex = "female"

[body]
model = "leg.toml"

[units.thigh_unit]
segment = "r_thigh"
table = "thigh.csv"
time = "time_s"
accelerometer = { columns = ["ax", "ay", "az"], unit = "m/s^2", full_scale = 157.0 }
gyroscope = { columns = ["gx", "gy", "gz"], unit = "deg/s", full_scale = 2000.0 }
magnetometer = { columns = ["mx", "my", "mz"], unit = "uT" }
orientation = { columns = ["qx", "qy", "qz", "qw"] }
mounting = [0.0, 0.0, 0.0, 1.0]
position_m = [0.05, -0.02, -0.15]

[units.calf_unit]
segment = "r_calf"
table = "calf.csv"
sampling_frequency = 100.0
accelerometer = { columns = ["ax", "ay", "az"], unit = "g" }
gyroscope = { columns = ["gx", "gy", "gz"], unit = "rad/s" }

[[calibration]]
kind = "still"
start_s = 0.1
end_s = 0.4
"""

MODEL = """\
name = "leg"

[segments.r_thigh]
length_m = 0.42

[segments.r_calf]

[joints.r_knee]
parent = "r_thigh"
child = "r_calf"
type = "ball"
centre_in_parent_m = [0.0, -0.42, 0.0]
range_deg = { flexion = [-5, 150] }
range_source = "a table"
stiffness = { adduction = 3.0 }
"""


def thigh_columns(count: int = 60) -> dict[str, np.ndarray]:
    """A unit that lies level and turns slowly about up, at 100 Hz."""
    time = np.arange(count) / 100
    one, none = np.ones(count), np.zeros(count)
    turn = np.deg2rad(20.0) * time / 2
    return {
        "time_s": time,
        **{"ax": 0.1 * one, "ay": 9.81 * one, "az": none},
        **{"gx": none, "gy": 20.0 * one, "gz": none},
        **{"mx": 20 * one, "my": -43 * one, "mz": none},
        **{"qx": none, "qy": np.sin(turn), "qz": none, "qw": np.cos(turn)},
    }


def calf_columns(count: int = 60) -> dict[str, np.ndarray]:
    """A unit at rest, in g and rad/s."""
    one, none = np.ones(count), np.zeros(count)
    return {"ax": none, "ay": 1.0 * one, "az": none, "gx": 0.01 * one, "gy": none, "gz": none}


def write_folder(
    folder: Path,
    setup: Sequence[tuple[str, str]] = (),
    model: Sequence[tuple[str, str]] = (),
    thigh: Mapping[str, Any] | None = None,
    calf: Mapping[str, Any] | None = None,
) -> Path:
    """The capture in a folder, with pieces of its texts replaced and columns of its tables changed.

    Parameters
    ----------
    setup, model : (old, new) pairs; each old text must be there
    thigh, calf : column -> new values, or None to leave the column out
    """
    (folder / "setup.toml").write_text(_replaced(SETUP, setup), encoding="utf-8")
    (folder / "leg.toml").write_text(_replaced(MODEL, model), encoding="utf-8")
    for name, columns, changes in (("thigh", thigh_columns(), thigh), ("calf", calf_columns(), calf)):
        changed = {key: value for key, value in {**columns, **(changes or {})}.items() if value is not None}
        pd.DataFrame(changed).to_csv(folder / f"{name}.csv", index=False)
    return folder


def with_value(values: np.ndarray, row: int, value: object) -> list[object]:
    """The values with one of them replaced, row counted from 0."""
    return [value if k == row else old for k, old in enumerate(values.tolist())]


def known(value: T | None) -> T:
    """The value, which must be there."""
    assert value is not None
    return value


def _replaced(text: str, pairs: Sequence[tuple[str, str]]) -> str:
    for old, new in pairs:
        if old not in text:
            raise ValueError(f"{old!r} is not in the text to change")
        text = text.replace(old, new, 1)
    return text
