"""A file that appears whole or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from ..errors import OutputError


def check_file(path: Path) -> None:
    """Refuses a file that can't be written, before any work is done; changes nothing.

    Parameters
    ----------
    path : of the file

    Raises
    ------
    OutputError
        Its folder is missing or forbids writing, or `path` is a folder.
    """
    if path.is_dir():
        raise OutputError(f"{path} is a folder, expected a file or nothing; give a file's name in it")
    if not path.parent.is_dir():
        raise OutputError(f"{path}: there is no folder {path.parent}; make it, or choose another one")
    if not os.access(path.parent, os.W_OK | os.X_OK):
        raise OutputError(f"{path}: no permission to write to {path.parent}; choose another folder")


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A place to write to; it becomes `path` when the block ends, and is removed when the block fails.

    Raises
    ------
    OutputError
        The file cannot be written; what stood at `path` before is still there.
    """
    partial = path.with_name(f".{path.name}.part")
    try:
        yield partial
        os.replace(partial, path)
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(
            f"{path}: cannot be written: {reason}; choose a folder that can be written to"
        ) from error
    finally:
        with contextlib.suppress(OSError):
            partial.unlink()
