"""A table of usual postures: a TOML file beside the body models, a table [joints.<name>] for each joint."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from ...body.usual_postures import UsualPosture
from ..plain.shipped import shipped_folder
from ..plain.toml_reader import TomlTable, read_toml

KEYS = ("turn_deg", "within_deg2", "between_deg")


def usual_posture_names() -> list[str]:
    """Names of the tables that come with bodyfit."""
    return sorted(path.stem for path in (shipped_folder("models") / "usual_postures").glob("*.toml"))


def read_usual_postures(name: str, joints: Collection[str]) -> dict[str, UsualPosture]:
    """The table of that name, as far as a model has its joints.

    Parameters
    ----------
    name : one of `usual_posture_names()`
    joints : names of the model's joints

    Returns
    -------
    joint -> UsualPosture, radians

    Raises
    ------
    InputError
        The file is wrong; names file and key.
    """
    table = read_toml(shipped_folder("models") / "usual_postures" / f"{name}.toml")
    table.only(("joints",))
    return {joint: _row(row) for joint, row in table.tables("joints").items() if joint in joints}


def _row(table: TomlTable) -> UsualPosture:
    table.only(KEYS)
    turn, within, between = (_numbers(table, key, count) for key, count in zip(KEYS, (3, 6, 3), strict=True))
    xx, yy, zz, xy, xz, yz = np.radians(np.radians(within))
    covariance = np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
    if np.linalg.eigvalsh(covariance)[0] < 0:
        table.mismatch("within_deg2", "a covariance: no negative variance along any direction")
    return UsualPosture(np.radians(turn), covariance, np.radians(between))


def _numbers(table: TomlTable, key: str, count: int) -> np.ndarray:
    found = table.numbers(key, count, "degrees")
    return table.missing(key, f"{count} numbers") if found is None else found
