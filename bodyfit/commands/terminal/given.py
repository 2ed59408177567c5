"""What commands are given: types for click that refuse what can be no path and no number; shared options."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import click


class GivenPath(click.Path):
    """A path that is not blank, as a pathlib.Path."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The path; a usage error where it is blank."""
        if not str(value).strip():
            self.fail("found '', expected a path", param, ctx)
        return super().convert(value, param, ctx)


class FiniteRange(click.FloatRange):
    """A number within limits; not-a-number, which passes every comparison the wrong way, is refused."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The number; a usage error where it is not finite or outside."""
        number = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"found {number}, expected a finite number", param, ctx)
        return number


def words_of(text: str) -> list[str]:
    """Words with commas between them."""
    return [word.strip() for word in text.split(",")]


# Arguments and options that several commands have, each with the same words.
CAPTURE = click.argument("capture", metavar="CAPTURE", type=GivenPath())
OUT = click.option("--out", metavar="OUT", required=True, type=GivenPath(), help="Folder for the results.")
SENSORS = click.option(
    "--sensors",
    metavar="WORD,WORD",
    help="Use only these of accelerometer, gyroscope, magnetometer, orientation.  [all that are trusted]",
)
STRICT_RANGES = click.option("--strict-ranges", is_flag=True, help="Make the joint ranges hold exactly.")
NO_USUAL_POSTURES = click.option(
    "--no-usual-postures",
    is_flag=True,
    help="Do not believe where joints beside segments without a unit usually are.",
)
ASSIGN = click.option(
    "--assign",
    type=click.Choice(("given", "auto")),
    default="given",
    help="auto: wear each unit where its motion says, whatever the capture says.  [given]",
)
JOBS = click.option(
    "--jobs", metavar="N", type=click.IntRange(1), help="Processes at a time.  [as many as there are cores]"
)
SCHEDULER = click.option(
    "--scheduler", metavar="ADDRESS", help="Dask cluster that does the work, such as tcp://host:8786."
)
EVERYTHING = click.option(
    "--all", "everything", is_flag=True, help="Print every finding by itself, with limit and source."
)
MODEL = click.option(
    "--model", metavar="NAME", help="Body model: a name or a file.  [what a script names, or whole_body]"
)
