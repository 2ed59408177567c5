"""`bodyfit strides`: a fit or a capture in; events and strides out, printed and as two tables."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("recorded", metavar="FIT_OR_CAPTURE", type=click.Path(path_type=Path))
@click.option(
    "--out",
    metavar="OUT",
    type=click.Path(path_type=Path),
    help="For events.csv, strides.csv and, of a fit, cycles.csv, sides.csv.  [that of the fit; none for a "
    "capture]",
)
def strides(recorded: Path, out: Path | None) -> None:
    """When feet strike and leave the ground in FIT_OR_CAPTURE, and what each stride was like.

    FIT_OR_CAPTURE is a folder that `bodyfit fit` wrote, of a body with feet, or a capture with a unit on a
    foot. docs/movement.md tells what each column means. Exit code 1: no step is in it; 2: the call or a file
    is wrong.
    """
    from ..files.capture.folder import read_capture
    from ..files.movement.stride_files import EVENTS, STRIDES
    from ..files.plain.atomic_file import check_folder
    from ..fitting.result import read_fit
    from ..movement.cycles.of_strides import cycles_of_strides
    from ..movement.strides.strides import strides as strides_of
    from .terminal.strides import print_strides

    is_fit = (recorded / "summary.json").is_file()
    out = recorded if out is None and is_fit else out
    if out is not None:
        check_folder(out, (EVENTS, STRIDES))
    fit = read_fit(recorded) if is_fit else None
    found = strides_of(read_capture(recorded) if fit is None else fit)
    curves = None if fit is None else cycles_of_strides(fit, found)
    written = () if out is None else found.write(out)
    if curves is not None and out is not None:
        written = *written, *curves.write(out)
    print_strides(found, written, curves)
