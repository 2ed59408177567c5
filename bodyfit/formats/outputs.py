"""The four files of a fit, written together: either all of them are new, or nothing has changed."""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from ..errors import OutputError
from .gltf import write_pose
from .pose_tables import write_joints, write_segments

if TYPE_CHECKING:
    from ..fitting import Fit

FILES = ("segments.csv", "joints.csv", "pose.glb", "summary.json")
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
MEGABYTE = 1e6

Writer = Callable[[IO[bytes]], object]
Progress = Callable[[int, int, str], None]


def write_fit(fit: Fit, out: str | Path, progress: Progress | None = None) -> tuple[Path, ...]:
    """Paths of segments.csv, joints.csv, pose.glb and summary.json, now written to a folder.

    Parameters
    ----------
    fit : with time, rotations, joint_angles, joint_angle_sd, poses and summary
    out : folder, made if missing; other files in it are left alone
    progress : called with (files done, files in all, what comes next)

    Raises
    ------
    OutputError
        The folder can't be made or written to, or the disk is full. What was there before is still there,
        unchanged; nothing half-written is left.

    Notes
    -----
    Files are written to a hidden folder inside `out`, hence on the same file system, flushed to the disk,
    and only then renamed.
    """
    out = Path(out)
    check_folder(out)
    writers = _writers(fit)
    with _refused(out, writers), _made(out), _scratch(out) as scratch:
        for done, (name, write) in enumerate(writers.items()):
            if progress:
                progress(done, len(writers), f"writing {name}")
            _write_file(scratch / name, write)
        _move(writers, scratch, out)
    return tuple(out / name for name in writers)


def check_folder(out: str | Path) -> None:
    """Refuses a folder that can't be written to, before any work is done; changes nothing.

    Raises
    ------
    OutputError
        `out`, or a folder above it, is a file or forbids writing; or one of the four names is a folder.
    """
    out = Path(out)
    nearest = next(path for path in (out, *out.absolute().parents) if os.path.lexists(path))
    if not nearest.is_dir():
        raise OutputError(f"{out}: {nearest} is a file, expected a folder; choose another folder")
    effective = {"effective_ids": True} if os.access in os.supports_effective_ids else {}
    if not os.access(nearest, os.W_OK | os.X_OK, **effective):
        raise OutputError(f"{out}: no permission to write to {nearest}; choose another folder")
    for name in FILES:
        if (out / name).is_dir():
            raise OutputError(f"{out / name} is a folder, expected a file or nothing; choose another folder")


def summary_text(summary: Mapping[str, Any]) -> str:
    """summary.json's text: keys in order, short lists on one line, what is not finite as null."""
    text = json.dumps(_plain(summary), indent=2, sort_keys=True, allow_nan=False, ensure_ascii=False)
    # a list of numbers is easier to read on one line; no string holds a raw line break in JSON
    return re.sub(r'\[\n *([^\[\]{}"]*?)\n *\]', _on_one_line, text) + "\n"


def _on_one_line(found: re.Match[str]) -> str:
    return "[" + re.sub(r"\n *", " ", found[1]) + "]"


def _plain(value: Any) -> Any:
    """The value as JSON knows it: numpy types become Python's, NaN and infinities None."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (set, frozenset)):
        return sorted(_plain(item) for item in value)
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, (np.ndarray, np.generic)):
        return _plain(value.tolist())
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return value


def _writers(fit: Fit) -> dict[str, Writer]:
    """File name -> what writes it to an open file, in the order of FILES."""
    positions = fit.poses.positions
    return {
        "segments.csv": partial(write_segments, time=fit.time, rotations=fit.rotations, positions=positions),
        "joints.csv": partial(
            write_joints, time=fit.time, angles=fit.joint_angles, angle_sd=fit.joint_angle_sd
        ),
        "pose.glb": partial(write_pose, poses=fit.poses),
        "summary.json": lambda file: file.write(summary_text(fit.summary).encode()),
    }


def _write_file(path: Path, write: Writer) -> None:
    with open(path, "wb") as file:
        write(file)
        file.flush()
        os.fsync(file.fileno())  # a full disk may show only here


def _move(names: Iterable[str], scratch: Path, out: Path) -> None:
    """Renames all new files into place, or none: earlier ones step aside first and return on failure."""
    aside = scratch / "earlier"
    aside.mkdir()
    try:
        for name in names:
            if os.path.lexists(out / name):
                os.replace(out / name, aside / name)
        for name in names:
            os.replace(scratch / name, out / name)
    except BaseException:
        for name in names:
            if os.path.lexists(aside / name):
                os.replace(aside / name, out / name)
            elif not os.path.lexists(scratch / name):
                (out / name).unlink(missing_ok=True)
        raise


@contextmanager
def _scratch(out: Path) -> Iterator[Path]:
    """A hidden folder inside `out`, gone afterwards."""
    with tempfile.TemporaryDirectory(dir=out, prefix=".bodyfit-", ignore_cleanup_errors=True) as name:
        yield Path(name)


@contextmanager
def _made(out: Path) -> Iterator[None]:
    """`out` with its parents; those that were missing are removed again on failure."""
    missing = [path for path in (out, *out.parents) if not path.exists()]
    try:
        out.mkdir(parents=True, exist_ok=True)
        yield
    except BaseException:
        for path in missing:
            if path.is_dir() and not any(path.iterdir()):
                path.rmdir()
        raise


@contextmanager
def _refused(out: Path, writers: Mapping[str, Writer]) -> Iterator[None]:
    """Operating-system refusals as OutputError; for a full disk it says how much room the files need."""
    try:
        yield
    except OutputError:
        raise
    except OSError as problem:
        if problem.errno not in FULL:
            raise OutputError(
                f"{out}: can't be written to ({problem.strerror or problem}); nothing was changed there. "
                "Choose another folder"
            ) from problem
        need = sum(_size(write) for write in writers.values()) / MEGABYTE
        free = shutil.disk_usage(next(path for path in (out, *out.absolute().parents) if path.exists())).free
        raise OutputError(
            f"{out}: the disk is full ({problem.strerror}): the {len(writers)} files need {need:.1f} MB, "
            f"{free / MEGABYTE:.1f} MB are free; nothing was changed there. Make room or choose another "
            "folder"
        ) from problem


def _size(write: Writer) -> int:
    """Bytes that a writer would write."""
    counter = _Counter()
    write(counter)  # type: ignore[arg-type]
    return counter.count


class _Counter:
    """A file that keeps only the number of bytes written to it."""

    count = 0

    def write(self, data: Any) -> int:
        self.count += memoryview(data).nbytes
        return memoryview(data).nbytes
