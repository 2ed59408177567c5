"""`bodyfit activities`: the folder of a fit or a capture in, activities.csv out."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("source", metavar="FIT_OR_CAPTURE", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write to; default: beside a fit.")
@click.option("--table", type=click.Path(path_type=Path), help="Of a capture: another trained table (TOML).")
@click.option("--delay", type=float, metavar="S", help="Of a capture: tell as online, so many s late.")
def activities(source: Path, out: Path | None, table: Path | None, delay: float | None) -> None:
    """Tell what the wearer did when: walking, stairs, running, standing, sitting, lying, changes of posture.

    A fit is told by rules on thighs, trunk and feet; a capture by its unit at the pelvis or a thigh, turned
    anyhow. Not a fall detector: nothing that someone's safety depends on may hang on it. docs/movement.md.
    """
    from ...errors import InputError
    from ...files.capture.folder import read_capture
    from ...fitting.result import read_fit
    from ...movement.activities.result import CAUTION
    from ...movement.activities.tell import activities as tell
    from ..terminal.activities import print_activities

    is_fit = (source / "summary.json").is_file()
    if out is None and not is_fit:
        raise InputError("--out: missing; a capture is not written to, give a folder for activities.csv")
    found = tell(read_fit(source) if is_fit else read_capture(source), table, delay)
    found.write(out or source)
    print_activities(found, CAUTION)
    click.echo(f"written to {out or source}: activities.csv")
