"""Whether a mesh file can be what its name says, asked before a reader unpacks it."""

from __future__ import annotations

import struct
from pathlib import Path

from ...errors import InputError
from ..plain.readable import check_readable

ENDINGS = (".stl", ".obj", ".ply", ".off", ".glb")  # not .zip, .3mf, .dae: packed, or further files
MOST_BYTES = 50e6  # a million triangles as binary STL (50 bytes each, by definition)
STL_HEAD, STL_FACE = 84, 50  # bytes; binary STL: 80 of header, 4 of count, 50 a triangle, by definition


def check_mesh_file(where: str, path: Path) -> None:
    """Refuses a mesh that is no plain file, too large, packed, or cut off.

    Parameters
    ----------
    where : key that names it, for the message
    path : of the file

    Raises
    ------
    InputError
        Names what was found and expected.
    """
    try:
        check_readable(path, MOST_BYTES)
    except InputError as error:
        raise InputError(f"{where}: {error}") from None
    if path.suffix.lower() not in ENDINGS:
        found = path.suffix or "no ending"
        raise InputError(f"{where}: {path}: found {found}, expected one of {', '.join(ENDINGS)}")
    if path.suffix.lower() == ".stl":
        _check_stl(where, path)


def _check_stl(where: str, path: Path) -> None:
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(STL_HEAD)
    if head.lstrip()[:5].lower() == b"solid" and b"\0" not in head:
        return  # text
    faces = struct.unpack("<I", head[80:84])[0] if len(head) == STL_HEAD else 0
    if size != STL_HEAD + STL_FACE * faces or not faces:
        raise InputError(
            f"{where}: {path}: found {size} bytes, expected {STL_HEAD + STL_FACE * faces} for the {faces} "
            "triangles that its header tells: the file is damaged or cut off; write it again"
        )
