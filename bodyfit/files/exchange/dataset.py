"""A fit as labelled arrays: coordinates, variables and attributes, as xarray and netCDF have them."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..account import CAUTION
from ..motion.pose_tables import continuous_quaternions
from .columns import angle_meaning
from .handover import Handover
from .optional import optional

CF = "CF-1.11"  # the conventions whose attribute names are used: cfconventions.org, version 1.11, section 2.6
Variables = dict[str, Any]
"""Name -> (dimensions, values, attributes)."""


def dataset(handed: Handover) -> Any:
    """The fit with an axis for joint angles and one for segments.

    Parameters
    ----------
    handed : what to hold

    Returns
    -------
    xarray.Dataset: `angle`, `angle_sd` (time, joint_angle), degree; `rotation` (time, segment,
    quaternion); `position` (time, segment, axis), m; `heading_sd`, `inclination_sd` (time, segment), degree,
    and `position_sd`, m, where they are known

    Raises
    ------
    OutputError
        xarray is not installed.
    """
    xarray = optional("xarray", "to_xarray")
    named = _angles(handed)
    about = {"units": "degree", "long_name": "joint angle", "ancillary_variables": "angle_sd"}
    variables: Variables = {
        "angle": (
            ("time", "joint_angle"),
            _stacked(handed, [column for column, *_ in named.values()]),
            about,
        ),
        "angle_sd": (
            ("time", "joint_angle"),
            _stacked(handed, [spread for _, spread, _ in named.values()]),
            {"units": "degree", "long_name": "standard deviation of the joint angle"},
        ),
    }
    names = [f"{joint}_{angle}" for joint, angle in named]
    coordinates = coordinates_of(handed) | {
        "joint_angle": ("joint_angle", _words(names)),
        "joint": ("joint_angle", _words([joint for joint, _ in named])),
        "angle_name": ("joint_angle", _words([angle for _, angle in named])),
        "meaning": ("joint_angle", _words([meaning for *_, meaning in named.values()])),
    }
    variables |= segment_variables(handed) | _segment_sd(handed)
    return xarray.Dataset(variables, coordinates, attributes_of(handed))


def coordinates_of(handed: Handover) -> Variables:
    """Time, segments, parts of a quaternion, axes."""
    return {
        "time": ("time", handed.poses.time, {"units": "s", "axis": "T", "long_name": "capture's clock"}),
        "segment": ("segment", list(handed.poses.model.segments)),
        "quaternion": ("quaternion", ["x", "y", "z", "w"]),
        "axis": ("axis", ["x", "y", "z"]),
    }


def attributes_of(handed: Handover) -> dict[str, str]:
    """Conventions, and the account that the fit gives of itself."""
    about = {"Conventions": CF} | handed.account.as_text()
    return about | {"source": f"{about['software']}, worn inertial units", "comment": CAUTION}


def angle_variables(handed: Handover) -> Variables:
    """A variable for each angle, naming its standard deviation as an ancillary variable."""
    out: Variables = {}
    for (joint, angle), (degrees, spread, meaning) in _angles(handed).items():
        about = {"units": "degree", "long_name": meaning}
        if spread is not None:
            about["ancillary_variables"] = f"{joint}_{angle}_sd"
            told = {"units": "degree", "long_name": f"standard deviation of {joint} {angle}"}
            out[f"{joint}_{angle}_sd"] = ("time", spread, told)
        out[f"{joint}_{angle}"] = ("time", degrees, about)
    return out


def segment_variables(handed: Handover) -> Variables:
    """Rotations of the segments, and their origins where lengths are known."""
    poses = handed.poses
    quat = [continuous_quaternions(poses.rotations[name]) for name in poses.model.segments]
    meaning = "rotation world_from_segment, unit quaternion, Hamilton, scalar last"
    out: Variables = {
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


def _angles(handed: Handover) -> dict[tuple[str, str], tuple[np.ndarray, np.ndarray | None, str]]:
    """(joint, angle) -> degrees, their standard deviation if known, what the angle is."""
    out = {}
    for name, joint in handed.joints.items():
        for number, angle in enumerate(joint.angles):
            spread = handed.angle_sd.get(name, {}).get(angle)
            degrees = np.degrees(handed.poses.joint_angles[name][angle])
            known = None if spread is None else np.degrees(spread)
            out[name, angle] = (degrees, known, angle_meaning(joint, number))
    return out


def _segment_sd(handed: Handover) -> Variables:
    """How sure heading, inclination and place of each segment are; none where it is not known of any."""
    out: Variables = {}
    for kind, name, factor, unit in (
        ("heading", "heading_sd", 180 / np.pi, "degree"),
        ("inclination", "inclination_sd", 180 / np.pi, "degree"),
        ("place", "position_sd", 1.0, "m"),
    ):
        own = {n: getattr(sure, kind) for n, sure in handed.segment_sd.items()}
        if all(values is None for values in own.values()):
            continue
        columns = [None if (v := own.get(n)) is None else factor * v for n in handed.poses.model.segments]
        about = {"units": unit, "long_name": f"standard deviation of the segment's {kind}"}
        out[name] = (("time", "segment"), _stacked(handed, columns), about)
    return out


def _stacked(handed: Handover, columns: list[Any]) -> np.ndarray:
    """(T, n) array; NaN where a column is not known."""
    out = np.full((len(handed.poses.time), len(columns)), np.nan)
    for number, column in enumerate(columns):
        if column is not None:
            out[:, number] = column
    return out


def _words(words: list[str]) -> np.ndarray:
    """An array of words, also of none."""
    return np.array(words, dtype=str)
