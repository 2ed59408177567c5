"""Many captures fitted on all cores or on a cluster; a batch that was stopped goes on where it was."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from pathlib import Path, PurePosixPath
from typing import Protocol

from ...core.workers.pool import worker_pool
from ...core.workers.work import Died
from ...errors import InputError
from .files import keep, kept_row, write_batch
from .fit_one import Fitted, Options, Piece, fit_one
from .result import DONE, FAILED, Row


class Watch(Protocol):
    """What is told how a batch goes on."""

    def began(self, total: int, workers: int) -> None:
        """So many captures, so many at a time."""
        ...

    def of(self, name: str, done: int, total: int, what: str) -> None:
        """How far one capture is; called from another thread."""
        ...

    def finished(self, row: Row, kept: bool) -> None:
        """A capture is finished; `kept`: it was so already."""
        ...


def batch(
    captures: Sequence[str | Path],
    out: str | Path,
    options: Options | None = None,
    jobs: int = 1,
    *,
    scheduler: str | None = None,
    watch: Watch | None = None,
) -> tuple[Row, ...]:
    """Every capture fitted, reviewed and reported, each in a folder of its own.

    Parameters
    ----------
    captures : folders; also addresses that fsspec knows, such as "s3://…", which the workers can read
    out : folder of results: a folder a capture, batch.csv, batch.html
    options : how all are fitted
    jobs : processes; a script that calls this needs `if __name__ == "__main__":`
    scheduler : address of a Dask cluster that does the work instead
    watch : is told how it goes on

    Returns
    -------
    a row for each capture, in the order given. One that can't be fitted, or kills its process three times,
    is a row with its reason. A capture that was done by an earlier call, and since then neither it nor the
    options nor bodyfit's version changed, is not done again

    Raises
    ------
    InputError
        No capture is given, or one twice, or there is no cluster at that address.
    OutputError
        `out` can't be written to.
    """
    out, names = Path(out), names_of([str(capture) for capture in captures])
    rows: dict[str, Row] = {}
    pieces = []
    for name, capture in names.items():
        before = kept_row(out, name)
        done = before is not None and before.state == DONE
        pieces.append(Piece(name, capture, before.key if before is not None and done else ""))
    with worker_pool(fit_one, options or Options(), jobs, scheduler=scheduler, apart=True) as pool:
        if watch is not None:
            watch.began(len(pieces), pool.workers)
        told = None if watch is None else _telling(watch)
        for piece, came in pool.run(pieces, told):
            row, kept = _settled(out, piece, came)
            rows[piece.name] = row
            write_batch(out, [rows[name] for name in names if name in rows], len(names))
            if watch is not None:
                watch.finished(row, kept)
    return tuple(rows[name] for name in names)


def _telling(watch: Watch) -> Callable[[Piece, int, int, str], None]:
    return lambda piece, done, total, what: watch.of(piece.name, done, total, what)


def _settled(out: Path, piece: Piece, came: Fitted | Died) -> tuple[Row, bool]:
    """The row of a finished piece, its files now in the output; whether they were there already."""
    if isinstance(came, Died):
        reason = f"killed the process that worked on it {came.times} times; is there too little memory?"
        row = Row(piece.name, piece.capture, FAILED, reason)
        keep(out, row, {})
        return row, False
    if came.files is None and (before := kept_row(out, piece.name)) is not None:
        return dataclasses.replace(before, capture=piece.capture), True
    keep(out, came.row, came.files or {})
    return came.row, False


def names_of(captures: Sequence[str]) -> dict[str, str]:
    """Name in the output -> capture: the folder's own name, with folders above it where two are alike.

    Raises
    ------
    InputError
        There is none, or one stands twice.
    """
    if not captures:
        raise InputError("batch: no capture given; expected at least one folder")
    parts = {capture: PurePosixPath(_path(capture)).parts for capture in captures}
    if len(parts) < len(captures) or len(set(parts.values())) < len(parts):
        twice = next(one for one in captures if list(map(_path, captures)).count(_path(one)) > 1)
        raise InputError(f"batch: {twice} is given twice; expected each capture once")
    depth = 1
    while len({_name(one, depth) for one in parts.values()}) < len(parts):
        depth += 1
    return {_name(one, depth): capture for capture, one in parts.items()}


def _path(capture: str) -> str:
    """The capture's path, absolute where it is one of this machine."""
    return capture if "://" in capture else Path(capture).resolve().as_posix()


def _name(parts: tuple[str, ...], depth: int) -> str:
    named = [part for part in parts[-depth:] if part not in ("/", "setup.toml")]
    return "_".join(named or parts).replace(":", "").replace("/", "_")
