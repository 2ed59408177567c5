"""Whether a unit's arrays have the shapes that everything after relies on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ...errors import InputError

# vectors of three, quaternions of four: by definition
COLUMNS = {"accelerometer": 3, "gyroscope": 3, "magnetometer": 3, "orientation": 4}


def unit_arrays(name: str, given: Mapping[str, Any]) -> dict[str, np.ndarray | None]:
    """The arrays of a unit as floats, once their shapes are right and stamps are finite.

    Parameters
    ----------
    name : of the unit, for messages
    given : time (N,) s; sensors (N, 3 or 4), mounting (4,) and position (3,), or None

    Returns
    -------
    name -> array or None

    Raises
    ------
    InputError
        Names the unit and the array, what was found and what was expected.
    """
    arrays = {key: _floats(f"units.{name} {key}", values) for key, values in given.items()}
    time = arrays["time"]
    if time is None or time.ndim != 1:
        raise InputError(f"units.{name} time: found {_shape(time)}, expected (N,) seconds")
    if (bad := np.flatnonzero(~np.isfinite(time))).size:
        raise InputError(f"units.{name} time: sample {bad[0] + 1} is {time[bad[0]]}, expected finite seconds")
    shapes = {sensor: (len(time), columns) for sensor, columns in COLUMNS.items()}
    for key, shape in (shapes | {"mounting": (4,), "position": (3,)}).items():
        values = arrays[key]
        if values is None:
            continue
        if values.shape != shape:
            expected = f"{shape}, a row a time stamp" if key in shapes else f"{shape}"
            raise InputError(f"units.{name} {key}: found {_shape(values)}, expected {expected}")
        if key not in shapes and not np.isfinite(values).all():
            raise InputError(f"units.{name} {key}: found {values.tolist()}, expected finite numbers")
    return arrays


def _floats(where: str, values: Any) -> np.ndarray | None:
    if values is None or (isinstance(values, np.ndarray) and values.dtype == float):
        return values
    try:
        return np.asarray(values, float)
    except (TypeError, ValueError) as error:
        raise InputError(f"{where}: {error}; expected numbers") from None


def _shape(values: np.ndarray | None) -> str:
    return "None" if values is None else f"an array {values.shape}"
