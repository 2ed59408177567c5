"""`bodyfit review`: the folder of a fit in, what to be wary of out, printed and as findings.json."""

from __future__ import annotations

from pathlib import Path

import click

from .terminal.given import EVERYTHING, GivenPath


@click.command()
@click.argument("out", metavar="OUT", type=GivenPath())
@click.option("--notes/--no-notes", default=True, show_default=True, help="Print what is only good to know.")
@EVERYTHING
def review(out: Path, notes: bool, everything: bool) -> None:
    """Look over the motion in OUT: what can't be a person, what can't be trusted, what is worth knowing.

    OUT is a folder that `bodyfit fit` wrote; it gets findings.json. docs/findings.md tells every kind.
    """
    from ..files.findings_file import FILE, write_findings
    from ..fitting.result import read_fit
    from ..study.review.review import CAUTION
    from ..study.review.review import review as review_fit
    from ..version import __version__
    from .terminal.findings import print_findings

    result = read_fit(out)
    findings = review_fit(result)
    write_findings(findings, out / FILE, __version__, CAUTION, result.start_time)
    print_findings([f for f in findings if notes or f.severity != "note"], everything=everything)
    click.echo(CAUTION)
    click.echo(f"written to {out}: {FILE}")
