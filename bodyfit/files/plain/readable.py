"""Whether a path can be read at all: asked of the system before anything is opened."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from ...errors import InputError

KINDS = {
    stat.S_ISDIR: "a folder",
    stat.S_ISFIFO: "a pipe",
    stat.S_ISCHR: "a device",
    stat.S_ISBLK: "a device",
    stat.S_ISSOCK: "a socket",
}
SHOWN = 120  # characters of a path that the system refuses: beyond that it is no path (by reasoning)


def check_readable(path: Path, most_bytes: float) -> None:
    """Refuses what is no plain file, or a larger one than expected, before it is opened.

    Parameters
    ----------
    path : of the file
    most_bytes : that it may hold on the disk

    Raises
    ------
    InputError
        It is missing, not a plain file, too large, or the system refuses to tell.
    """
    found = _status(path)
    if found is None:
        raise InputError(f"{path}: no such file")
    for is_kind, word in KINDS.items():
        if is_kind(found.st_mode):
            raise InputError(f"{path}: found {word}, expected a file")
    if found.st_size > most_bytes:
        raise InputError(
            f"{path}: found {found.st_size / 1e6:.3g} MB, expected at most {most_bytes / 1e6:.3g} MB"
        )
    if not os.access(path, os.R_OK, effective_ids=os.access in os.supports_effective_ids):
        raise InputError(f"{path}: no permission to read it; change that, or give another file")


def is_file(path: Path) -> bool:
    """Whether a plain file is there; raises InputError where the system refuses to tell."""
    return (found := _status(path)) is not None and stat.S_ISREG(found.st_mode)


def is_folder(path: Path) -> bool:
    """Whether a folder is there; raises InputError where the system refuses to tell."""
    return (found := _status(path)) is not None and stat.S_ISDIR(found.st_mode)


def is_there(path: Path) -> bool:
    """Whether anything is there; raises InputError where the system refuses to tell."""
    return _status(path) is not None


def _status(path: Path) -> os.stat_result | None:
    """What the system knows of a path; None: nothing is there."""
    try:
        return path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        raise InputError(f"{_short(path)}: {error.strerror}; give another path") from None
    except ValueError as error:  # a null byte
        raise InputError(f"{_short(path)}: {error}; give another path") from None


def _short(path: Path) -> str:
    text = str(path)
    return text if len(text) <= SHOWN else f"{text[: SHOWN // 2]}…{text[-SHOWN // 2 :]}"
