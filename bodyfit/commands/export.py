"""`bodyfit export`: the files of a fit in, one file or data set that other programs open out."""

from __future__ import annotations

from pathlib import Path

import click

from .terminal.given import GivenPath


@click.command()
@click.argument("fit", metavar="FIT", type=GivenPath())
@click.option(
    "--to",
    metavar="PATH",
    required=True,
    type=GivenPath(),
    help="File to write: .c3d, .xlsx, .parquet or .nc; with --as bids a new folder.",
)
@click.option(
    "--as", "format", metavar="FORMAT", help="c3d, xlsx, parquet, nc or bids.  [by the file's name]"
)
@click.option(
    "--capture",
    metavar="CAPTURE",
    type=GivenPath(),
    help="For bids: the capture of this fit, whose raw samples go into the data set.",
)
def export(fit: Path, to: Path, format: str | None, capture: Path | None) -> None:
    """Hand a fit over: as C3D, spreadsheet, Parquet, netCDF or a BIDS-Motion data set.

    FIT is a folder that `bodyfit fit` wrote; events.csv and strides.csv in it go along. docs/handing_over.md
    tells which file is for whom, and what each can't hold.
    """
    from ..files.capture.folder import read_capture
    from ..files.exchange.export import export as hand_over
    from ..fitting.result import read_fit

    recorded = None if capture is None else read_capture(capture)
    written = hand_over(read_fit(fit), to, format, beside=fit, capture=recorded)
    click.echo(f"written to {written.path}")
    for sentence in written.left_out:
        click.echo(f"left out: {sentence}")
