"""`bodyfit fit`: a capture reconstructed into a folder."""

from __future__ import annotations

from pathlib import Path

import click

from .terminal.given import (
    ASSIGN,
    CAPTURE,
    EVERYTHING,
    NO_USUAL_POSTURES,
    OUT,
    SENSORS,
    STRICT_RANGES,
    GivenPath,
    words_of,
)


@click.command()
@CAPTURE
@OUT
@SENSORS
@click.option("--alone", is_flag=True, help="Each unit by itself, without the body model.")
@click.option(
    "--leave-out", metavar="UNIT", multiple=True, help="Pretend that a unit was not worn; repeatable."
)
@click.option("--inferred", is_flag=True, help="Show joints with no unit on one side, too.")
@STRICT_RANGES
@NO_USUAL_POSTURES
@click.option(
    "--same-person",
    metavar="FIT",
    type=GivenPath(),
    help="Folder of an earlier fit of the same person, which lends lengths and usual postures.",
)
@EVERYTHING
@ASSIGN
def fit(
    capture: Path,
    out: Path,
    sensors: str | None,
    alone: bool,
    leave_out: tuple[str, ...],
    inferred: bool,
    strict_ranges: bool,
    assign: str,
    no_usual_postures: bool,
    same_person: Path | None,
    everything: bool,
) -> None:
    """The motion of the body in CAPTURE: rotations, joint angles, a 3-D scene, a summary.

    CAPTURE is a folder with a setup.toml. OUT gets segments.csv, joints.csv, pose.glb and summary.json.
    Exit code 1: the capture can't be reconstructed; 2: the call or a file is wrong.
    """
    from .progress_bar import Progress

    with Progress() as progress:
        progress(0, 0, "loading")
        from ..files.capture.folder import read_capture
        from ..files.fit_folder import FILES, write_fit
        from ..files.plain.atomic_file import check_folder
        from ..fitting.fit import fit as fit_capture
        from ..fitting.result import read_fit
        from .terminal.fit_table import print_fit

        check_folder(out, FILES)
        progress(0, 0, f"reading {capture}")
        result = fit_capture(
            read_capture(capture),
            sensors=None if sensors is None else set(words_of(sensors)),
            alone=alone,
            leave_out=leave_out,
            strict_ranges=strict_ranges,
            assign=assign,
            usual_postures=not no_usual_postures,
            same_person=None if same_person is None else read_fit(same_person),
            progress=progress,
        )
        paths = write_fit(result, out, progress, inferred)
    print_fit(result.summary, paths, result.findings, everything=everything, inferred=inferred)
