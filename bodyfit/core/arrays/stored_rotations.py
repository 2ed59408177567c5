"""Rotations by name, each made when it is asked for: an hour of a whole body's is large."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from scipy.spatial.transform import Rotation

from .scratch import LARGE_BYTES, let_go


class StoredRotations(Mapping[str, Rotation]):
    """Name -> Rotation of length T, from quaternions that may lie on the disk.

    Parameters
    ----------
    names : S of them
    quat_xyzw : (S, T, 4)
    """

    def __init__(self, names: Sequence[str], quat_xyzw: np.ndarray):
        self._at = {name: number for number, name in enumerate(names)}
        self._quat_xyzw = quat_xyzw

    def __getitem__(self, name: str) -> Rotation:
        made = Rotation.from_quat(self._quat_xyzw[self._at[name]])
        let_go(self._quat_xyzw)
        return made

    def __iter__(self) -> Iterator[str]:
        return iter(self._at)

    def __len__(self) -> int:
        return len(self._at)


def rotations_by_name(names: Sequence[str], quat_xyzw: np.ndarray) -> Mapping[str, Rotation]:
    """Rotations of some names, kept as they are where they are small.

    Parameters
    ----------
    names : S of them
    quat_xyzw : (S, T, 4), of `scratch.room`

    Returns
    -------
    name -> Rotation of length T
    """
    stored = StoredRotations(names, quat_xyzw)
    return stored if quat_xyzw.nbytes >= LARGE_BYTES else dict(stored)
