"""`bodyfit inspect`: a capture in; findings and a table out, on request a page and a JSON file."""

from __future__ import annotations

from pathlib import Path

import click

from .terminal.given import CAPTURE, EVERYTHING, GivenPath


@click.command()
@CAPTURE
@click.option(
    "--page",
    metavar="FILE.html",
    type=GivenPath(),
    help="Also write one HTML page with timelines of every unit.",
)
@click.option("--json", "data", metavar="FILE", type=GivenPath(), help="Also write everything as JSON.")
@EVERYTHING
def inspect(capture: Path, page: Path | None, data: Path | None, everything: bool) -> None:
    """What CAPTURE holds, what is wrong with it and what to do, most harmful first.

    CAPTURE is a folder with a setup.toml; up to a minute of it is fitted to see how units sit. Exit code 1:
    nothing in it can be inspected; 2: the call or a file is wrong. Findings alone are no error.
    """
    from ..errors import InputError
    from ..files.plain.atomic_file import check_file
    from .progress_bar import Progress

    if page is not None and data is not None and page.resolve() == data.resolve():
        raise InputError(f"--page and --json: both are {page}; expected two different files")
    written = [path for path in (page, data) if path is not None]
    for path in written:
        check_file(path)
    with Progress() as progress:
        progress(0, 0, "loading")
        from ..files.capture.folder import read_capture
        from ..files.plain.atomic_file import write_text
        from ..files.plain.json_text import json_text
        from ..study.inspection.inspect import inspect as inspect_capture
        from ..study.inspection.page import write_inspection_page
        from .terminal.inspection import print_inspection

        progress(0, 0, f"reading {capture}")
        inspection = inspect_capture(read_capture(capture), progress=progress)
        if page is not None:
            progress(0, 0, f"writing {page}")
            write_inspection_page(inspection, page)
        if data is not None:
            write_text(data, json_text(inspection.as_data()))
    print_inspection(inspection, written, everything=everything)
