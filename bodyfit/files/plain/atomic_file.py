"""A file that appears whole or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from ...errors import OutputError


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
    if name_refused(path):
        raise OutputError(f"{str(path)[:100]}…: {name_refused(path)}; choose another name")
    if path.is_dir():
        raise OutputError(f"{path} is a folder, expected a file or nothing; give a file's name in it")
    if path.exists() and not path.is_file():
        raise OutputError(f"{path} is a device or a pipe, expected a file or nothing; give a file's name")
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


def write_text(path: Path, text: str) -> None:
    """Writes a text file whole or not at all; its folder has to be there.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    with whole_file(path) as partial:
        partial.write_text(text, encoding="utf-8", newline="\n")


def make_folder(folder: Path) -> None:
    """Makes a folder and those above it, where they are missing.

    Raises
    ------
    OutputError
        It can't be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder}: can't be made: {error.strerror}; choose another folder") from error


def name_refused(path: Path) -> str:
    """What the system has against a path, such as that its name is too long; empty: nothing."""
    try:
        os.lstat(path)
    except (FileNotFoundError, NotADirectoryError):
        return ""
    except PermissionError:
        return ""  # told by name of the folder that forbids it
    except OSError as error:
        return error.strerror or str(error)
    except ValueError as error:  # a null byte
        return str(error)
    return ""


def check_folder(out: str | Path, names: Iterable[str] = ()) -> None:
    """Refuses a folder that can't be written to, before any work is done; changes nothing.

    Raises
    ------
    OutputError
        `out`, or a folder above it, is a file or forbids writing; or one of the names is a folder in it.
    """
    out = Path(out)
    if name_refused(out):
        raise OutputError(f"{str(out)[:100]}…: {name_refused(out)}; choose another folder")
    nearest = next(path for path in (out, *out.absolute().parents) if os.path.lexists(path))
    if not nearest.is_dir():
        raise OutputError(f"{out}: {nearest} is a file, expected a folder; choose another folder")
    effective = {"effective_ids": True} if os.access in os.supports_effective_ids else {}
    if not os.access(nearest, os.W_OK | os.X_OK, **effective):
        raise OutputError(f"{out}: no permission to write to {nearest}; choose another folder")
    for name in names:
        if (out / name).is_dir():
            raise OutputError(f"{out / name} is a folder, expected a file or nothing; choose another folder")
