"""What a command is given: types for click that refuse what can be no path and no number."""

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
