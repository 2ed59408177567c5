"""`bodyfit compare`: a capture in; what each set of sensors makes of it out, as tables and a page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from .body import BodyModel
    from .capture import Capture
    from .comparing import Case, CaseResult
    from .progress import Progress
    from .reference import Reference


@click.command()
@click.argument("capture", metavar="CAPTURE", type=click.Path(path_type=Path))
@click.option(
    "--out", metavar="OUT", required=True, type=click.Path(path_type=Path), help="Folder for the results."
)
@click.option(
    "--reference",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="A segments.csv that holds the truth; a segment's cells may be empty.  [truth/segments.csv or "
    ".csv.gz beside setup.toml where there is one, else the solution with every sensor]",
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
@click.option(
    "--jobs", metavar="N", type=click.IntRange(1), help="Processes at a time.  [as many as there are cores]"
)
def compare(
    capture: Path,
    out: Path,
    reference: Path | None,
    against_full: bool,
    sets: str | None,
    leave_out_each: bool,
    leave_out: tuple[str, ...],
    align_clock: bool,
    jobs: int | None,
) -> None:
    """Solve CAPTURE with every set of sensors, with the body model and without, and compare.

    Errors are those of each joint's rotation, child segment against parent. OUT gets comparison.csv,
    comparison.json, comparison.html and, in cases, a file for each finished case: a run that was interrupted
    goes on from there. Exit code 2: the call or a file is wrong. A set that can't be
    solved is listed with the reason and is no error.
    """
    from .progress import Progress

    with Progress() as progress:
        progress(0, 0, "loading")
        from .circumstances import circumstances
        from .comparing import Comparison, cases_of, full_case
        from .errors import InputError
        from .formats.capture_folder import read_capture
        from .formats.comparison import write_comparison
        from .formats.outputs import check_folder
        from .formats.simulated_capture import truth_file
        from .formats.viewing_layout import laid_out
        from .printed_comparison import print_comparison
        from .stick_figures import at_times, lines_of, stick_figure

        if reference is not None and against_full:
            raise InputError("compare: found --reference and --against-full; expected one of them")
        check_folder(out)
        progress(0, 0, f"reading {capture}")
        recording = read_capture(capture)
        subsets = [[name.strip() for name in word.split(",")] for word in leave_out]
        words = None if sets is None else [word.strip() for word in sets.split(",")]
        cases = cases_of(recording, words, leave_out_each, subsets)
        drawn = laid_out(recording.model.scaled(recording.person))[0]
        if reference is None and not against_full:
            reference = truth_file(capture)
        truth = None if reference is None else _reference(recording, reference, drawn)
        results = _results(recording, cases, truth, drawn, out, align_clock, jobs, progress)
        if truth is None:
            figure = next(result.figure for result in results if result.case == full_case(recording))
        elif set(drawn.segments) <= set(truth.rotations):
            time = truth.time[truth.rows(*drawn.segments)]
            turns = {name: at_times(*truth.track(name), time) for name in drawn.segments}
            figure = stick_figure(time, turns, drawn) if len(time) else {}
        else:
            figure = {}
        comparison = Comparison(
            recording.title or str(capture),
            "the full solution" if reference is None else str(reference),
            reference is not None,
            results,
            lines_of(drawn),
            figure,
            circumstances(recording),
        )
        paths = write_comparison(comparison, out)
    print_comparison(comparison, paths)


def _reference(capture: Capture, path: Path, drawn: BodyModel) -> Reference:
    """The truth in a file."""
    from .formats.pose_tables import read_segments
    from .reference import Reference, check_reference

    table = read_segments(path, gaps=True)
    reference = Reference(table.time, table.rotations, table.seen, drawn=drawn)
    check_reference(capture, reference)
    return reference


def _results(
    capture: Capture,
    cases: tuple[Case, ...],
    truth: Reference | None,
    drawn: BodyModel,
    out: Path,
    align_clock: bool,
    jobs: int | None,
    progress: Progress,
) -> tuple[CaseResult, ...]:
    """A result of each case: kept from an earlier run, or new and kept as soon as it is there."""
    import os

    from .comparing import fingerprint, full_solution, told
    from .comparing_jobs import results_of
    from .formats.comparison import read_case, write_case

    common = fingerprint(capture, truth, align_clock)
    keys = {case: fingerprint(common, case)[:32] for case in cases}
    kept = {case: read_case(out, key) for case, key in keys.items()}
    done = {case: result for case, result in kept.items() if result is not None}
    missing = [case for case in cases if case not in done]
    progress(len(done), len(cases), "comparing")
    if missing:
        against = full_solution(capture, drawn) if truth is None else told(capture, truth)
        for result in results_of(capture, missing, against, align_clock, jobs or os.cpu_count() or 1):
            write_case(out, keys[result.case], result)
            done[result.case] = result
            progress(len(done), len(cases), f"finished {result.case.name}")
    return tuple(done[case] for case in cases)
