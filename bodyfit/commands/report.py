"""`bodyfit report`: the files of a fit in, one page that shows them out."""

from __future__ import annotations

from pathlib import Path

import click

from .terminal.given import GivenPath


@click.command()
@click.argument("out", metavar="OUT", type=GivenPath())
@click.option(
    "--page",
    metavar="FILE.html",
    type=GivenPath(),
    help="File to write.  [report.html in OUT]",
)
def report(out: Path, page: Path | None) -> None:
    """Write a page that shows a fit: moving figure, joint angles, findings, and how far to trust them.

    OUT is a folder that `bodyfit fit` wrote; findings.json in it is shown when it is there. The page is one
    file, opens in a browser by a double click, and fetches nothing.
    """
    from ..study.report.page import write_report

    written = write_report(out, page)
    click.echo(f"Written to {written} ({written.stat().st_size / 1e6:.1f} MB)")
