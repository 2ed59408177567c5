"""`bodyfit compare`: a capture in; what each set of sensors makes of it out, as tables and a page."""

from __future__ import annotations

import os
from pathlib import Path

import click

from .terminal.given import CAPTURE, JOBS, NO_USUAL_POSTURES, OUT, SCHEDULER, GivenPath, words_of


@click.command()
@CAPTURE
@OUT
@click.option(
    "--reference",
    metavar="FILE",
    type=GivenPath(),
    help="File that holds the truth, such as truth/segments.csv.gz: columns as in segments.csv; a segment's "
    "cells may be empty.  [truth/segments.csv or .csv.gz beside setup.toml where there is one, else the "
    "solution with every sensor]",
)
@click.option("--against-full", is_flag=True, help="Compare with the solution with every sensor in any case.")
@click.option(
    "--sets",
    metavar="WORD,WORD",
    help="Sensor sets, such as acc+gyro,gyro,all.  [every set that makes sense]",
)
@click.option(
    "--leave-out-each",
    is_flag=True,
    help="Also without each unit in turn, with every sensor or those of --sets.",
)
@click.option("--leave-out", metavar="UNIT,UNIT", multiple=True, help="Also without these units; repeatable.")
@click.option(
    "--align-clock", is_flag=True, help="Take a constant offset of up to 30 ms off the reference's clock."
)
@NO_USUAL_POSTURES
@JOBS
@SCHEDULER
def compare(
    capture: Path,
    out: Path,
    reference: Path | None,
    against_full: bool,
    sets: str | None,
    leave_out_each: bool,
    leave_out: tuple[str, ...],
    align_clock: bool,
    no_usual_postures: bool,
    jobs: int | None,
    scheduler: str | None,
) -> None:
    """Solve CAPTURE with every set of sensors, with the body model and without, and compare.

    Errors are those of each joint's rotation, child segment against parent. OUT gets comparison.csv,
    comparison.json, comparison.html and, in cases, a file for each finished case: a run that was interrupted
    goes on from there. Exit code 2: the call or a file is wrong. A set that can't be
    solved is listed with the reason and is no error.
    """
    from .progress_bar import Progress

    with Progress() as progress:
        progress(0, 0, "loading")
        import dataclasses

        from ..errors import InputError
        from ..files.capture.folder import read_capture
        from ..files.plain.atomic_file import check_folder
        from ..files.scene.viewing_layout import laid_out
        from ..simulation.truth_files import truth_file
        from ..study.accuracy.reference_file import read_reference
        from ..study.comparison.compare import compare as compared
        from ..study.comparison.files import read_case, write_case, write_comparison
        from .terminal.comparison import print_comparison

        if reference is not None and against_full:
            raise InputError("compare: found --reference and --against-full; expected one of them")
        check_folder(out)
        progress(0, 0, f"reading {capture}")
        recording = read_capture(capture)
        path = reference or (None if against_full else truth_file(capture))
        comparison = compared(
            recording,
            None if path is None else read_reference(path),
            None if sets is None else words_of(sets),
            [words_of(word) for word in leave_out],
            leave_out_each,
            align_clock=align_clock,
            usual_postures=not no_usual_postures,
            jobs=jobs or os.cpu_count() or 1,
            scheduler=scheduler,
            drawn=laid_out(recording.model.scaled(recording.person))[0],
            kept=(lambda key: read_case(out, key), lambda key, result: write_case(out, key, result)),
            progress=progress,
        )
        title = (recording.title or str(capture)) + ", without usual postures" * no_usual_postures
        comparison = dataclasses.replace(comparison, title=title, against=str(path or comparison.against))
        paths = write_comparison(comparison, out)
    print_comparison(comparison, paths)
