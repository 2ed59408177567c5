"""The samples of one sensor as they stand in a table, with what setup.toml says of them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NoReturn

import numpy as np

from ...core.gravity import STANDARD_GRAVITY
from ...core.rotations import vector_norm
from ...errors import InputError
from ..plain.tables import Table
from ..plain.toml_reader import TomlTable

LARGEST = 1e100  # beyond it squares overflow; no sensor reads so much; by reasoning
DEGREE = np.pi / 180  # by definition
# by definition of the units
SENSOR_UNITS: dict[str, dict[str, float]] = {
    "accelerometer": {"m/s^2": 1.0, "g": STANDARD_GRAVITY, "mg": STANDARD_GRAVITY * 1e-3, "cm/s^2": 1e-2},
    "gyroscope": {"rad/s": 1.0, "deg/s": DEGREE, "mdeg/s": DEGREE * 1e-3},
    "magnetometer": {"T": 1.0, "uT": 1e-6, "nT": 1e-9, "G": 1e-4, "mG": 1e-7, "arbitrary": 1.0},
    "orientation": {"": 1.0},
}
"""Sensor -> unit -> factor to SI (m/s², rad/s, T)."""
UNIT_WORDS = {
    "dps": "deg/s",
    "°/s": "deg/s",
    "rps": "rad/s",
    "µT": "uT",
    "μT": "uT",
    "gauss": "G",
    "tesla": "T",
}


@dataclass(frozen=True, eq=False)
class Samples:
    """The samples of one sensor of one unit as they stand in the table, with what setup.toml says of them.

    Attributes
    ----------
    setup : the unit's table in setup.toml
    sensor : accelerometer | gyroscope | magnetometer | orientation
    table : file that they come from
    row : (N,) row of each sample in that file, from 0
    time : (N,) s
    values : (N, 3 or 4), declared unit, NaN rows where missing
    """

    setup: TomlTable
    sensor: str
    table: Table
    row: np.ndarray
    time: np.ndarray
    values: np.ndarray

    @cached_property
    def keys(self) -> TomlTable:
        """The sensor's own table in setup.toml."""
        return self.setup.table(self.sensor) or self.setup.missing(self.sensor, "a table")

    @cached_property
    def unit(self) -> str:
        """Declared unit; blank for an orientation."""
        if self.sensor == "orientation":
            return ""
        allowed = SENSOR_UNITS[self.sensor]
        near = UNIT_WORDS.get(self.keys.text("unit") or "")
        if near in allowed:
            self.keys.mismatch("unit", f"one of {', '.join(allowed)}; did you mean {near!r}?")
        return self.keys.choice("unit", allowed) or self.keys.missing("unit", f"one of {', '.join(allowed)}")

    @property
    def factor(self) -> float:
        """Factor from the declared unit to SI."""
        return SENSOR_UNITS[self.sensor][self.unit]

    @cached_property
    def full_scale(self) -> float | None:
        """Largest value that the sensor can read, SI, or None when not declared."""
        value = self.keys.positive("full_scale", f"the largest readable value, above 0, in {self.unit}")
        return None if value is None else value * self.factor

    @cached_property
    def median_length(self) -> float:
        """Median length of the samples that are there, declared unit, those of 0, 0, 0 aside."""
        length = vector_norm(np.clip(self.values, -LARGEST, LARGEST))
        there = length[length > 0]
        return float(np.median(there)) if there.size else 0.0

    def refuse(self, text: str) -> NoReturn:
        """Raise InputError about this sensor, naming setup.toml, the key and the table."""
        raise InputError(
            f"{self.setup.file}: {self.setup.dotted(self.sensor)} ({self.table.path.name}): {text}"
        )

    def at(self, k: int) -> str:
        """Row and time of sample k, for a message."""
        return f"row {self.row[k] + 1} (t = {self.time[k]:.3f} s)"
