"""A reference: a table of segment rotations to compare solutions with."""

from __future__ import annotations

from pathlib import Path

from ...errors import InputError
from ...files.motion.motion_file import tables_in
from ...files.motion.pose_tables import read_segments
from ...files.plain.readable import is_folder
from .reference import Reference


def read_reference(path: str | Path) -> Reference:
    """The motion that a table takes for the truth.

    Parameters
    ----------
    path : a file with columns as in segments.csv; the cells of a segment may be empty, as where an optical
        system lost its markers

    Returns
    -------
    Reference : world +Y up, any heading; quaternions world_from_segment

    Raises
    ------
    InputError
        It is a folder, or no such table.
    """
    path = Path(path)
    if is_folder(path):
        there = tables_in(path)
        name = there[0] if there else path / "segments.csv"
        raise InputError(
            f"reference: {path} is a folder; expected a file with the columns of segments.csv, "
            + (f"such as {name}" if there else f"and found none in it, not even {name}")
        )
    table = read_segments(path, gaps=True)
    return Reference(table.time, table.rotations, table.seen)
