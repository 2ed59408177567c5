"""`bodyfit repetitions`: a fit or a capture and an example in, every repetition with its curves out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from ...fitting.result import Fit
    from ...recording.capture import Capture

MOVEMENT = "movement"  # name of examples without one


@click.command()
@click.argument("recording", metavar="FIT_OR_CAPTURE", type=click.Path(path_type=Path))
@click.option(
    "--like",
    metavar="[NAME=]START:END",
    multiple=True,
    help="Start and end in s of one repetition; up to three of each movement.  [counts what repeats]",
)
@click.option(
    "--examples",
    metavar="FIT_OR_CAPTURE",
    type=click.Path(path_type=Path),
    help="The recording that --like is about.  [the same one]",
)
@click.option(
    "--worn-otherwise",
    is_flag=True,
    help="Units sat otherwise, or on another person, in --examples: how they are turned is solved for.",
)
@click.option(
    "--out", metavar="OUT", type=click.Path(path_type=Path), help="Folder to write to.  [beside the fit]"
)
def repetitions(
    recording: Path, like: tuple[str, ...], examples: Path | None, worn_otherwise: bool, out: Path | None
) -> None:
    """Find every repetition of movements of which one to three are shown, and count them.

    FIT_OR_CAPTURE is a folder that `bodyfit fit` wrote, or a capture. OUT gets repetitions.csv,
    repetitions.json and, of a fit, cycles.csv: joint angles over the cycle, mean and standard deviation.
    """
    from ...errors import InputError
    from ...files.plain.atomic_file import check_folder
    from ...movement.repetitions.find import repetitions as find
    from ...movement.repetitions.result import CAUTION
    from ..terminal.findings import print_findings
    from ..terminal.repetitions import print_repetitions

    spans = examples_of(like)
    given = read_recording(recording)
    is_fit = (recording / "summary.json").is_file()
    if out is None and not is_fit:
        raise InputError(f"{recording}: is a capture, not a fit: give --out, the folder to write to")
    target = recording if out is None else out
    check_folder(target)
    source = None if examples is None else read_recording(examples)
    found = find(given, spans, source, worn_otherwise)
    print_repetitions(found)
    print_findings(found.findings)
    click.echo(CAUTION)
    written = found.write(target)
    click.echo(f"written to {target}: {', '.join(path.name for path in written)}")


def examples_of(like: tuple[str, ...]) -> dict[str, list[tuple[float, float]]] | None:
    """Movement -> start and end (s), from NAME=START:END or START:END; None where nothing is given.

    Raises
    ------
    InputError
        One is not so written.
    """
    from ...errors import InputError

    out: dict[str, list[tuple[float, float]]] = {}
    for text in like:
        name, mark, span = text.rpartition("=")
        start, colon, end = span.partition(":")
        try:
            pair = float(start), float(end)
        except ValueError:
            pair = None
        if pair is None or not colon or (mark and not name.strip()):
            raise InputError(
                f"--like: found {text!r}; expected NAME=START:END or START:END in seconds, such as "
                "lift=12.5:15.2"
            )
        out.setdefault(name.strip() or MOVEMENT, []).append(pair)
    return out or None


def read_recording(path: Path) -> Fit | Capture:
    """The fit in a folder that holds a summary.json, else the capture.

    Raises
    ------
    InputError
        It is neither, or can't be read.
    """
    from ...errors import InputError
    from ...files.capture.folder import read_capture
    from ...fitting.result import read_fit

    if (path / "summary.json").is_file():
        return read_fit(path)
    if (path / "setup.toml").is_file() or path.suffix == ".toml":
        return read_capture(path)
    raise InputError(
        f"{path}: found no summary.json and no setup.toml; expected a folder that `bodyfit fit` wrote, or a "
        "capture"
    )
