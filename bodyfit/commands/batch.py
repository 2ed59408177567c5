"""`bodyfit batch`: many captures in; a folder for each, one table and one page of them all out."""

from __future__ import annotations

import os
from pathlib import Path

import click

from .terminal.given import ASSIGN, JOBS, NO_USUAL_POSTURES, OUT, SCHEDULER, SENSORS, STRICT_RANGES, words_of


@click.command()
@click.argument("captures", metavar="CAPTURE…", nargs=-1, required=True)
@OUT
@SENSORS
@STRICT_RANGES
@ASSIGN
@NO_USUAL_POSTURES
@JOBS
@SCHEDULER
def batch(
    captures: tuple[str, ...],
    out: Path,
    sensors: str | None,
    strict_ranges: bool,
    assign: str,
    no_usual_postures: bool,
    jobs: int | None,
    scheduler: str | None,
) -> None:
    """Fit, review and report many captures.

    OUT gets a folder for each CAPTURE, batch.csv with a row for each, and batch.html, which shows those to
    look at first. A capture that can't be fitted is a row with its reason and does not end the batch. Call
    the same again to go on after a stop: only what is missing or has changed is done. With --scheduler a
    CAPTURE may be any address that fsspec reads on the workers, such as s3://bucket/folder.
    """
    from .terminal.batch_progress import BatchProgress

    with BatchProgress() as progress:
        from ..files.plain.atomic_file import check_folder
        from ..study.batch.batch import batch as run
        from ..study.batch.fit_one import Options

        check_folder(out)
        words = None if sensors is None else tuple(sorted(words_of(sensors)))
        rows = run(
            captures,
            out,
            Options(words, strict_ranges, assign, not no_usual_postures),
            jobs or os.cpu_count() or 1,
            scheduler=scheduler,
            watch=progress,
        )
    failed = [row for row in rows if row.state != "done"]
    click.echo(f"{len(rows) - len(failed)} done, {len(failed)} failed")
    click.echo(f"written to {out}: batch.csv, batch.html, a folder for each capture")
