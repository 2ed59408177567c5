"""A file that appears whole or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from ..errors import OutputError


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
