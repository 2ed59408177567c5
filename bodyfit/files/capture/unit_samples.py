"""The samples of one worn unit: from the columns of its table to SI arrays on increasing time stamps."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.spatial.transform import Rotation

from ...core.findings import Finding
from ...recording.capture import SENSORS, Unit
from ..plain.tables import Table
from ..plain.toml_reader import TomlTable
from . import sample_checks, stamp_checks
from .own_table import at_stamps_of, own_samples, unit_stamps
from .sensor_samples import Samples
from .table_shelf import DIALECT_KEYS, TABLE_KEYS, TableShelf, dialect_of

UNIT_KEYS = ("segment", *TABLE_KEYS, "trials", *SENSORS, "mounting", "position_m")
VECTOR_KEYS = ("columns", "unit", "full_scale")
SENSOR_KEYS = {s: ("columns", "up") if s == "orientation" else VECTOR_KEYS for s in SENSORS}
UP_Y_FROM_UP_Z = np.array(
    [-1.0, 0.0, 0.0, 1.0]
)  # xyzw, not of length one: -90° about X takes Z to Y, Y to -Z


def read_unit(name: str, setup: TomlTable, shelf: TableShelf) -> Unit:
    """One worn unit, SI, missing samples as NaN rows.

    Parameters
    ----------
    name : of the unit
    setup : its table in setup.toml
    shelf : where its samples are

    Raises
    ------
    InputError
        A key, a column, a stamp or a sample is wrong, or the samples cannot be in the unit declared.
    """
    setup.only(UNIT_KEYS)
    file = setup.text("table") or setup.missing("table", 'a file name such as "left_calf.csv"')
    table = shelf.table(file, dialect_of(setup))
    arrays = {sensor: _sensor(setup, sensor, table, shelf) for sensor in SENSORS if sensor in setup}
    if not arrays:
        setup.refuse(
            "accelerometer", f"this unit has no sensor; expected at least one of {', '.join(SENSORS)}"
        )
    row, time = _increasing_time(setup, table, arrays, name, shelf)
    samples = {s: Samples(setup, s, table, row, time, values[row]) for s, values in arrays.items()}
    arrays = {s: _converted(one) for s, one in samples.items()}
    sample_checks.check_up(samples, arrays)
    return Unit(
        name,
        setup.text("segment"),
        time,
        accelerometer=arrays.get("accelerometer"),
        gyroscope=arrays.get("gyroscope"),
        magnetometer=arrays.get("magnetometer"),
        magnetometer_is_arbitrary="magnetometer" in samples and samples["magnetometer"].unit == "arbitrary",
        orientation=arrays.get("orientation"),
        mounting=_mounting(setup),
        position=setup.numbers("position_m", 3, "metres in the segment frame"),
        full_scale={s: one.full_scale for s, one in samples.items() if one.full_scale is not None},
    )


def _sensor(setup: TomlTable, sensor: str, table: Table, shelf: TableShelf) -> np.ndarray:
    """(N, 3 or 4) numbers as they stand in the table; a row with an empty cell is NaN throughout.

    Those of a sensor with a table of its own are brought to the stamps of the unit's table.
    """
    keys = setup.table(sensor) or setup.missing(sensor, "a table")
    count = 4 if sensor == "orientation" else 3
    keys.only((*SENSOR_KEYS[sensor], *TABLE_KEYS))
    file = keys.text("table")
    own = shelf.table(file, dialect_of(keys)) if file else table
    names = keys.texts("columns", count) or keys.missing("columns", f"a list of {count} column names")
    values = np.stack([_column(own, name, keys.dotted("columns")) for name in names], axis=1)
    values[np.isnan(values).any(axis=1)] = np.nan
    if file is None:
        for key in (*DIALECT_KEYS, "time", "sampling_frequency"):
            if key in keys:
                keys.refuse(key, "stands without table; expected it beside the table that it tells of")
        return values
    return at_stamps_of(setup, table, own_samples(keys, own, values))


def _column(table: Table, name: str, asked_by: str) -> np.ndarray:
    """(N,) numbers of a column; "-ax" is column ax with its sign turned."""
    if name.startswith("-") and name not in table.names:
        return -table.numbers(name[1:], asked_by)
    return table.numbers(name, asked_by)


def _increasing_time(
    setup: TomlTable, table: Table, arrays: Mapping[str, np.ndarray], name: str, shelf: TableShelf
) -> tuple[np.ndarray, np.ndarray]:
    """Rows to keep (N,), and their time (N,) s, strictly increasing."""
    stamps = unit_stamps(setup, table)
    shelf.starts[name] = stamps.start
    column, time, row = stamps.column, stamps.time, np.arange(len(table))
    if not column:
        return row, time
    stamp_checks.check_stamps(table, column, time)
    repeated = np.flatnonzero(np.diff(time) == 0) + 1
    if repeated.size:
        stamp_checks.check_repeats(table, column, time, repeated)
        row = np.setdiff1d(row, twice := _logged_twice(arrays, repeated))
        shelf.notes.append(_repeats(name, table, column, time, repeated, twice.size))
    return row, _spread(time[row])


def _repeats(
    name: str, table: Table, column: str, time: np.ndarray, repeated: np.ndarray, twice: int
) -> Finding:
    """What is to be said about repeated stamps."""
    first = float(time[repeated[0]])
    return Finding(
        "stamps-repeated",
        "note",
        f"{table.path.name}: column {column!r}: {repeated.size} rows repeat the time stamp before them "
        f"(first: row {repeated[0] + 1}, t = {first:.3f} s)",
        "write stamps with more decimals, or give sampling_frequency",
        units=(name,),
        start=first,
        value=float(repeated.size),
        measure="rows",
        source="no limit: no stamp may repeat",
        handled=f"{twice} that repeat the samples too were dropped, the others spread to the next stamp",
    )


def _logged_twice(arrays: Mapping[str, np.ndarray], repeated: np.ndarray) -> np.ndarray:
    """Those of the repeated rows whose samples, too, are those of the row before."""
    same = [
        np.all(v[repeated] == v[repeated - 1], axis=1) | np.isnan(v[repeated, 0]) for v in arrays.values()
    ]
    return repeated[np.all(same, axis=0)]


def _spread(time: np.ndarray) -> np.ndarray:
    """Non-decreasing stamps (N,) made strictly increasing: equal ones are spaced evenly up to the next."""
    stamps, first, count = np.unique(time, return_index=True, return_counts=True)
    step = np.append(np.diff(stamps), np.median(np.diff(stamps)))
    which = np.repeat(np.arange(len(stamps)), count)
    return time + (np.arange(len(time)) - first[which]) * (step / count)[which]


def _converted(samples: Samples) -> np.ndarray:
    """(N, 3) SI samples, or (N, 4) unit quaternions with +Y up, checked."""
    sample_checks.check_not_empty(samples)
    if samples.sensor == "orientation":
        return _world_y_up(samples)
    sample_checks.check_scale(samples)
    with np.errstate(over="ignore"):  # infinities are found among the impossible samples
        return samples.values * samples.factor


def _world_y_up(samples: Samples) -> np.ndarray:
    """(N, 4) world_from_unit with +Y up, length one, from a world with Y or Z up."""
    sample_checks.check_quaternions(samples)
    quat = samples.values / np.linalg.norm(samples.values, axis=1, keepdims=True)
    if samples.keys.choice("up", ("y", "z")) != "z":
        return quat
    there = np.isfinite(quat[:, 0])
    quat[there] = (Rotation.from_quat(UP_Y_FROM_UP_Z) * Rotation.from_quat(quat[there])).as_quat()
    return quat


def _mounting(setup: TomlTable) -> np.ndarray | None:
    """(4,) segment_from_unit of length one."""
    quat = setup.numbers("mounting", 4, "a unit quaternion x, y, z, w: segment_from_unit")
    if quat is None:
        return None
    length = float(np.linalg.norm(quat))
    if abs(length - 1) > sample_checks.QUATERNION_TOLERANCE:
        setup.mismatch("mounting", f"a quaternion of length 1; this one has length {length:.4g}")
    return quat / length
