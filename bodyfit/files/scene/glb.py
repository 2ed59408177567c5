"""The binary glTF container: one JSON description and one buffer in a single file, written and read back.

By hand: the container is a 12-byte header and two chunks, and no general library at hand writes node
animation (trimesh exports meshes only). Section numbers are those of the Khronos glTF 2.0
specification.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from pathlib import Path
from typing import IO, Any

import numpy as np

from ...errors import InputError

VERTICES, INDICES = 34962, 34963  # bufferView.target, glTF 2.0, section 5.11
COMPONENT_TYPES = {"float32": 5126, "uint32": 5125, "int16": 5122}  # glTF 2.0, section 3.6.2.2
TYPES = {1: "SCALAR", 3: "VEC3", 4: "VEC4"}  # glTF 2.0, section 3.6.2.2


class Buffer:
    """Arrays laid end to end, with the accessors that find them again."""

    def __init__(self) -> None:
        self.pieces: list[bytes] = []
        self.length = 0
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []

    def add(self, array: np.ndarray, target: int | None = None, bounds: bool = False) -> int:
        """Index of a new accessor that holds the array.

        Parameters
        ----------
        array : (N,) or (N, k) array of float32 or uint32; or (N, 4) of int16, shares of 32767 (section
            3.11 allows them for animated rotations). Each row fills whole words of four bytes
        target : VERTICES or INDICES for mesh data
        bounds : store min and max, as vertex positions and animation times need (section 3.6.2.5)
        """
        data = np.ascontiguousarray(array, array.dtype.newbyteorder("<")).tobytes()
        view = {"buffer": 0, "byteOffset": self.length, "byteLength": len(data)}
        self.views.append(view | ({"target": target} if target else {}))
        self.pieces.append(data)
        self.length += len(data)
        self.accessors.append(_accessor(array, len(self.views) - 1, bounds))
        return len(self.accessors) - 1


def _accessor(array: np.ndarray, view: int, bounds: bool) -> dict[str, Any]:
    table = array.reshape(len(array), -1)
    accessor = {
        "bufferView": view,
        "componentType": COMPONENT_TYPES[array.dtype.name],
        "count": len(table),
        "type": TYPES[table.shape[1]],
    }
    if array.dtype == np.int16:
        accessor["normalized"] = True
    if bounds:
        accessor |= {"min": table.min(axis=0).tolist(), "max": table.max(axis=0).tolist()}
    return accessor


def write_glb(file: IO[bytes], tree: Mapping[str, Any], buffer: Buffer) -> None:
    """A .glb file: header, JSON chunk, binary chunk (section 4.4).

    Parameters
    ----------
    file : open for bytes
    tree : the glTF description without its buffers, views and accessors
    buffer : the arrays that the description refers to
    """
    whole = dict(tree) | {
        "accessors": buffer.accessors,
        "bufferViews": buffer.views,
        "buffers": [{"byteLength": buffer.length}],
    }
    text = json.dumps(whole, allow_nan=False, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    file.write(struct.pack("<4sII", b"glTF", 2, 12 + 8 + len(text) + 8 + buffer.length))
    file.write(struct.pack("<I4s", len(text), b"JSON") + text)
    file.write(struct.pack("<I4s", buffer.length, b"BIN\0"))
    for piece in buffer.pieces:
        file.write(piece)


def read_glb(path: Path) -> tuple[dict[str, Any], list[np.ndarray]]:
    """What a .glb file written by `write_glb` holds: its description, and the array of each accessor.

    Raises
    ------
    InputError
        The file is missing, damaged, or laid out in a way that `write_glb` does not use.
    """
    if not path.is_file():
        raise InputError(f"{path}: no such file; expected a glTF scene, which `bodyfit fit` writes")
    try:
        tree, binary = _chunks(path.read_bytes())
        views, accessors = tree["bufferViews"], tree["accessors"]
        return tree, [_array(accessor, views[accessor["bufferView"]], binary) for accessor in accessors]
    except (struct.error, KeyError, IndexError, TypeError, ValueError) as error:
        raise InputError(
            f"{path}: cannot be read as a glTF scene ({type(error).__name__}: {error}); expected the file as "
            "`bodyfit fit` wrote it. Run the fit again"
        ) from None


def _chunks(data: bytes) -> tuple[dict[str, Any], bytes]:
    """The JSON chunk, read, and the binary chunk."""
    magic, version, length = struct.unpack_from("<4sII", data)
    if (magic, version, length) != (b"glTF", 2, len(data)):
        raise ValueError(f"header {magic!r} version {version}, {length} bytes announced, {len(data)} found")
    size, _ = struct.unpack_from("<I4s", data, 12)
    return json.loads(data[20 : 20 + size]), data[20 + size + 8 :]


def _array(accessor: Mapping[str, Any], view: Mapping[str, Any], binary: bytes) -> np.ndarray:
    """(N,) or (N, k) array of one accessor."""
    dtype = next(name for name, code in COMPONENT_TYPES.items() if code == accessor["componentType"])
    width = next(count for count, name in TYPES.items() if name == accessor["type"])
    start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
    values = np.frombuffer(binary, np.dtype(dtype).newbyteorder("<"), accessor["count"] * width, start)
    return values.astype(dtype) if width == 1 else values.astype(dtype).reshape(-1, width)
