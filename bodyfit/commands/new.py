"""`bodyfit new`: tables in, a drafted setup.toml out."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path))
@click.argument("tables", metavar="TABLE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--model", metavar="NAME", help="Body model.  [the smallest with the segments that names tell]")
def new(folder: Path, tables: tuple[Path, ...], model: str | None) -> None:
    """Draft FOLDER/setup.toml from TABLEs of samples, which stay where they are.

    Columns, units, rate and segments are guessed from names and numbers; each guess is marked, and what can't
    be guessed is left as "?" with the allowed words beside it. Tables of the same name in several folders are
    trials.
    """
    from ..errors import InputError
    from ..files.capture.open_lines import refuse_open
    from ..files.draft.draft import draft_setup
    from ..files.plain.toml_reader import read_toml

    path = draft_setup(folder, tables, model)
    click.echo(f"written to {path}")
    try:
        refuse_open(read_toml(path))
    except InputError as error:
        click.echo(str(error))
        click.echo(f"Next: fill that in, read the guesses over, then bodyfit inspect {folder}")
    else:
        click.echo(f"Next: read the guesses over, then bodyfit inspect {folder}")
