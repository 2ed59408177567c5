"""A fit as a netCDF-4 file with CF attributes, for xarray and everything that reads netCDF."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from ..account import CAUTION
from ..motion.pose_tables import continuous_quaternions
from .columns import angle_meaning
from .handover import Handover, Rows
from .optional import optional

CF = "CF-1.11"  # the conventions whose attribute names are used: cfconventions.org, version 1.11, section 2.6
COMPRESSED = {"zlib": True, "complevel": 4}  # common practice: lossless, quick


def write_netcdf(path: Path, handed: Handover) -> tuple[str, ...]:
    """Writes the file; every digit is kept.

    Parameters
    ----------
    path : of the file
    handed : what to write

    Returns
    -------
    sentences on what the format does not hold: nothing

    Raises
    ------
    OutputError
        xarray or netCDF4 is not installed.

    Notes
    -----
    Variables: `<joint>_<angle>` and `<joint>_<angle>_sd` (time), degree; `rotation` (time, segment,
    quaternion); `position` (time, segment, axis), m; events and strides along `event` and `stride`.
    """
    xarray = optional("xarray", ".nc")
    optional("netCDF4", ".nc")
    variables = _angles(handed) | _segments(handed)
    variables |= _rows(handed.events, "event") | _rows(handed.strides, "stride")
    coordinates = {
        "time": ("time", handed.poses.time, {"units": "s", "axis": "T", "long_name": "capture's clock"}),
        "segment": ("segment", list(handed.poses.model.segments)),
        "quaternion": ("quaternion", ["x", "y", "z", "w"]),
        "axis": ("axis", ["x", "y", "z"]),
    }
    about = {"Conventions": CF} | handed.account.as_text()
    about |= {"source": f"{about['software']}, worn inertial units", "comment": CAUTION}
    data = xarray.Dataset(variables, coordinates, about)
    numbers = [name for name, array in data.data_vars.items() if array.dtype.kind == "f"]
    data.to_netcdf(path, engine="netcdf4", encoding={name: COMPRESSED for name in numbers})
    return ()


def _angles(handed: Handover) -> dict[str, Any]:
    """Angles, each naming its standard deviation as an ancillary variable."""
    out: dict[str, Any] = {}
    for name, joint in handed.joints.items():
        for number, angle in enumerate(joint.angles):
            about = {"units": "degree", "long_name": angle_meaning(joint, number)}
            spread = handed.angle_sd.get(name, {}).get(angle)
            if spread is not None:
                about["ancillary_variables"] = f"{name}_{angle}_sd"
                told = {"units": "degree", "long_name": f"standard deviation of {name} {angle}"}
                out[f"{name}_{angle}_sd"] = ("time", np.degrees(spread), told)
            out[f"{name}_{angle}"] = ("time", np.degrees(handed.poses.joint_angles[name][angle]), about)
    return out


def _segments(handed: Handover) -> dict[str, Any]:
    poses = handed.poses
    quat = [continuous_quaternions(poses.rotations[name]) for name in poses.model.segments]
    meaning = "rotation world_from_segment, unit quaternion, Hamilton, scalar last"
    out: dict[str, Any] = {
        "rotation": (
            ("time", "segment", "quaternion"),
            np.stack(quat, axis=1),
            {"units": "1", "long_name": meaning},
        )
    }
    if poses.positions is not None:
        places = np.stack([poses.positions[name] for name in poses.model.segments], axis=1)
        about = {"units": "m", "long_name": "origin of the segment in the world, +Y up"}
        out["position"] = (("time", "segment", "axis"), places, about)
    return out


def _rows(rows: Rows | None, dimension: str) -> dict[str, Any]:
    """Columns of events or strides along a dimension of their own; numbers as numbers, empty cells NaN."""
    out: dict[str, Any] = {}
    for name, cells in (rows or {}).items():
        if any(isinstance(cell, str) for cell in cells):
            values: Any = np.array(["" if cell is None else str(cell) for cell in cells], object)
        else:
            values = np.array([np.nan if cell is None else cell for cell in cells], float)
        out[f"{dimension}_{name}"] = (dimension, values)
    return out
