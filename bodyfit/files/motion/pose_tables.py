"""segments.csv and joints.csv: a pose sequence as two plain tables, written and read back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import numpy as np
import pyarrow as pa
from pyarrow import csv
from scipy.spatial.transform import Rotation

from ...core.arrays.scratch import let_go, room
from ...errors import InputError, suggest
from ..plain.tables import Table, number_column, read_table

# Decimals written: 1 µs, 2e-9 rad, 1 µm, 2e-8 rad; each well below what worn units can resolve.
DECIMALS = {"time_s": 6, "quat": 9, "m": 6, "deg": 6}  # by reasoning
ROWS_AT_ONCE = 4096  # chosen; not tried
QUATERNION = ("qx", "qy", "qz", "qw")
POSITION = ("x_m", "y_m", "z_m")
UNIT_TOLERANCE = 1e-3  # by reasoning: three decimals in a table
Columns = Iterator[tuple[str, np.ndarray, str]]  # name, values (rad where degrees are written), kind


@dataclass(frozen=True, eq=False)
class SegmentTable:
    """Where every segment is, as segments.csv holds it.

    Attributes
    ----------
    time : (T,) s
    rotations : segment name -> rotation of length T, world_from_segment
    positions : point name -> (T, 3) m in the world; empty when the file has none
    seen : segment name -> (T,) whether the row holds its rotation; only of those with rows that do not
    """

    time: np.ndarray
    rotations: Mapping[str, Rotation]
    positions: Mapping[str, np.ndarray]
    seen: Mapping[str, np.ndarray] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class JointTable:
    """Every joint's angles, as joints.csv holds them.

    Attributes
    ----------
    time : (T,) s
    angles, angle_sd : "<joint>_<angle>" -> (T,) rad; `angle_sd` is empty when the file has none
    """

    time: np.ndarray
    angles: Mapping[str, np.ndarray]
    angle_sd: Mapping[str, np.ndarray]


def continuous_quaternions(rotation: Rotation) -> np.ndarray:
    """Quaternions that never jump to the other sign: the first has qw ≥ 0, each next one is the nearer.

    Parameters
    ----------
    rotation : rotation of length T

    Returns
    -------
    (T, 4) array, xyzw
    """
    quat = rotation.as_quat()
    turns = np.sum(quat[1:] * quat[:-1], axis=1) < 0
    sign = np.cumprod(np.where(np.r_[quat[0, 3] < 0, turns], -1.0, 1.0))
    return quat * sign[:, None]


def write_segments(
    file: IO[bytes],
    time: np.ndarray,
    rotations: Mapping[str, Rotation],
    positions: Mapping[str, np.ndarray] | None = None,
) -> None:
    """segments.csv: time, then each segment's quaternion and, when known, its origin.

    Parameters
    ----------
    file : open for bytes
    time : (T,) s
    rotations : segment name -> rotation of length T, world_from_segment
    positions : segment name -> (T, 3) m, world, or None
    """
    _write(file, _segment_columns(time, rotations, positions or {}))


def write_joints(
    file: IO[bytes],
    time: np.ndarray,
    angles: Mapping[str, Mapping[str, np.ndarray]],
    angle_sd: Mapping[str, Mapping[str, np.ndarray]] | None = None,
) -> None:
    """joints.csv: time, then each joint's angles and, when known, their standard deviations.

    Parameters
    ----------
    file : open for bytes
    time : (T,) s
    angles, angle_sd : joint name -> angle name -> (T,) rad; what is not finite becomes an empty cell
    """
    _write(file, _joint_columns(time, angles, angle_sd or {}))


def read_segments(path: str | Path, gaps: bool = False) -> SegmentTable:
    """The segments.csv at `path`, or another table file with the same columns.

    Points that have a position and no rotation (a toe tip, say) are read too.

    Parameters
    ----------
    path : of the file
    gaps : whether a segment's four cells may all be empty, as where an optical system lost its markers; such
        rows hold no turn and are not in `seen`

    Returns
    -------
    SegmentTable

    Raises
    ------
    InputError
        Missing file or column, a cell that is not a number, time that does not increase, a quaternion
        whose length differs from one by more than 0.001.
    """
    path = Path(path)
    table = _read(path)
    segments = [name.removesuffix("_qx") for name in table if name.endswith("_qx")]
    if not segments:
        raise InputError(f"{path}: no column ends in _qx; expected <segment>_qx, _qy, _qz, _qw")
    points = [name.removesuffix("_x_m") for name in table if name.endswith("_x_m")]
    seen = _seen(table, segments) if gaps else {}
    rotations = {name: _rotation(path, name, table, seen.get(name)) for name in segments}
    positions = {name: _stack(path, name, POSITION, table) for name in points}
    return SegmentTable(table["time_s"], rotations, positions, seen)


def read_joints(path: str | Path) -> JointTable:
    """The joints.csv at `path`.

    Raises
    ------
    InputError
        Missing file or time column, a cell that is not a number, time that does not increase.
    """
    table = _read(Path(path))
    spread = {name: np.radians(table[name]) for name in table if name.endswith("_sd_deg")}
    angles = {name: np.radians(table[name]) for name in table if name not in spread and name != "time_s"}
    return JointTable(
        table["time_s"],
        {name.removesuffix("_deg"): value for name, value in angles.items()},
        {name.removesuffix("_sd_deg"): value for name, value in spread.items()},
    )


def _segment_columns(time, rotations, positions) -> Columns:
    yield "time_s", time, "time_s"
    quats = room((len(rotations), len(time), 4))
    for (segment, rotation), quat in zip(rotations.items(), quats, strict=True):
        quat[:] = continuous_quaternions(rotation)
        let_go(quat)
        yield from ((f"{segment}_{part}", quat[:, i], "quat") for i, part in enumerate(QUATERNION))
        if segment in positions:
            place = positions[segment]
            yield from ((f"{segment}_{part}", place[:, i], "m") for i, part in enumerate(POSITION))


def _joint_columns(time, angles, angle_sd) -> Columns:
    yield "time_s", time, "time_s"
    for joint, its_angles in angles.items():
        for angle, value in its_angles.items():
            yield f"{joint}_{angle}_deg", value, "deg"
            if angle in angle_sd.get(joint, {}):
                yield f"{joint}_{angle}_sd_deg", angle_sd[joint][angle], "deg"


def _write(file: IO[bytes], columns: Columns) -> None:
    names, values, kinds = zip(*columns, strict=True)
    file.write((",".join(names) + "\n").encode())
    bare = csv.WriteOptions(include_header=False)
    for start in range(0, len(values[0]), ROWS_AT_ONCE):
        rows = slice(start, start + ROWS_AT_ONCE)
        cells = [_cells(value[rows], kind) for value, kind in zip(values, kinds, strict=True)]
        text = pa.BufferOutputStream()
        csv.write_csv(pa.table(cells, names=list(names)), text, bare)
        file.write(text.getvalue())
        let_go(*values)


def _cells(value: np.ndarray, kind: str) -> pa.Array:
    """Rounded numbers of a kind; + 0.0 turns -0.0 into 0, and what is not finite is left empty."""
    value = np.degrees(value) if kind == "deg" else np.asarray(value, float)
    value = np.round(value, DECIMALS[kind]) + 0.0
    return number_column(value, np.isfinite(value))


def _read(path: Path) -> dict[str, np.ndarray]:
    """Column name -> numbers, empty cells as NaN; `time_s` is there and increases."""
    table = read_table(path)
    columns = {name: table.numbers(name) for name in ("time_s", *table.names)}
    _check_increasing(table, columns["time_s"])
    return columns


def _check_increasing(table: Table, time: np.ndarray) -> None:
    bad = np.flatnonzero(~(np.diff(time) > 0)) + 1
    row = 0 if np.isnan(time[0]) else bad[0] if len(bad) else None
    if row is not None:
        after = f" after {time[row - 1]}" if row else ""
        table.refuse("time_s", f"row {row + 1}: found {time[row]}{after}; expected seconds that increase")


def _seen(table: Mapping[str, np.ndarray], segments: list[str]) -> dict[str, np.ndarray]:
    """Segment -> rows in which not all four cells are empty, of those with such rows and with others."""
    out = {}
    for name in segments:
        parts = [table[f"{name}_{part}"] for part in QUATERNION if f"{name}_{part}" in table]
        seen = ~np.isnan(parts).all(0)
        if seen.any() and not seen.all():
            out[name] = seen
    return out


def _rotation(
    path: Path, segment: str, table: Mapping[str, np.ndarray], seen: np.ndarray | None = None
) -> Rotation:
    quat = _stack(path, segment, QUATERNION, table)
    if seen is not None:
        quat[~seen] = [0.0, 0.0, 0.0, 1.0]
    length = np.linalg.norm(quat, axis=1)
    bad = np.flatnonzero(~(np.abs(length - 1) < UNIT_TOLERANCE))
    if len(bad):
        raise InputError(
            f"{path}: columns {segment}_qx, _qy, _qz, _qw: row {bad[0] + 1} "
            f"(t = {table['time_s'][bad[0]]:.3f} s): found a quaternion of length {length[bad[0]]:.4f}; "
            f"expected 1 within {UNIT_TOLERANCE}; "
            f"{len(bad)} rows are like that. Leave out rows that have no rotation"
        )
    return Rotation.from_quat(quat)


def _stack(path: Path, name: str, parts: tuple[str, ...], table: Mapping[str, np.ndarray]) -> np.ndarray:
    missing = [f"{name}_{part}" for part in parts if f"{name}_{part}" not in table]
    if missing:
        raise InputError(f"{path}: no column {missing[0]!r}; {suggest(missing[0], table)}")
    return np.stack([table[f"{name}_{part}"] for part in parts], axis=1)
