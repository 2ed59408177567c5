"""The report's moving figure: pose.glb in small, and the viewer library that plays it."""

from __future__ import annotations

import io
import re
import zipfile
from typing import Any

import numpy as np

from ...errors import InputError
from ...files.scene.glb import Buffer, write_glb

SHARE = 32767  # an int16 that stands for 1, glTF 2.0 section 3.11
TEMPLATE = "templates/viewer.zip"  # trimesh's page for notebooks, which carries three.js
COPYRIGHT = re.compile(r"Copyright [\d-]+ Three\.js Authors")
MIT = (
    "Permission is hereby granted, free of charge, to any person obtaining a copy of this software and "
    'associated documentation files (the "Software"), to deal in the Software without restriction, '
    "including without limitation the rights to use, copy, modify, merge, publish, distribute, sublicense, "
    "and/or sell copies of the Software, and to permit persons to whom the Software is furnished to do so, "
    "subject to the following conditions:",
    "The above copyright notice and this permission notice shall be included in all copies or substantial "
    "portions of the Software.",
    'THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR IMPLIED, INCLUDING BUT NOT '
    "LIMITED TO THE WARRANTIES OF MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE AND NONINFRINGEMENT. IN "
    "NO EVENT SHALL THE AUTHORS OR COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM, DAMAGES OR OTHER LIABILITY, "
    "WHETHER IN AN ACTION OF CONTRACT, TORT OR OTHERWISE, ARISING FROM, OUT OF OR IN CONNECTION WITH THE "
    "SOFTWARE OR THE USE OR OTHER DEALINGS IN THE SOFTWARE.",
)
LIBRARY = re.compile(r"<script>(.*?THREE\.GLTFLoader=GLTFLoader;\}\)\(\);)", re.DOTALL)


def light_scene(scene: tuple[dict[str, Any], list[np.ndarray]]) -> bytes:
    """A .glb that looks the same, its turning stored in half the room.

    Parameters
    ----------
    scene : from `read_glb`: description, and the array of each accessor

    Returns
    -------
    bytes of the file

    Notes
    -----
    Quaternions become whole numbers out of 32767, which turns a segment by less than 0.005°; everything
    else stays as it is.
    """
    tree, arrays = scene
    turns = _rotation_outputs(tree)
    buffer = Buffer()
    for number, (accessor, array) in enumerate(zip(tree["accessors"], arrays, strict=True)):
        target = tree["bufferViews"][accessor["bufferView"]].get("target")
        kept = np.round(SHARE * array).astype(np.int16) if number in turns else array
        buffer.add(kept, target, bounds="min" in accessor)
    out = io.BytesIO()
    write_glb(out, tree, buffer)
    return out.getvalue()


def _rotation_outputs(tree: dict[str, Any]) -> set[int]:
    """Accessors that hold the quaternions of an animation."""
    return {
        animation["samplers"][channel["sampler"]]["output"]
        for animation in tree.get("animations", ())
        for channel in animation["channels"]
        if channel["target"]["path"] == "rotation"
    }


def viewer_library() -> str:
    """three.js with its glTF loader, MIT licence, as the installed trimesh carries it.

    Raises
    ------
    InputError
        This release of trimesh carries none that is known here.
    """
    import trimesh
    from trimesh.resources import get_bytes

    try:
        with zipfile.ZipFile(io.BytesIO(get_bytes(TEMPLATE))) as archive:
            page = archive.read(archive.namelist()[0]).decode()
    except (OSError, ValueError, zipfile.BadZipFile, IndexError):
        page = ""
    found = LIBRARY.search(page)
    if not found:
        raise InputError(
            f"trimesh {trimesh.__version__}: its viewer page does not hold three.js where expected; install "
            'another release: pip install "trimesh>=4.9,<6"'
        )
    return found[1]


def licence_of(library: str) -> tuple[str, ...]:
    """The licence of three.js in paragraphs, its copyright notice as the library itself bears it."""
    notice = COPYRIGHT.search(library)
    return ("The MIT License", notice[0] if notice else "Copyright three.js authors", *MIT)
