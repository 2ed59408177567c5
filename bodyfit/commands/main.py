"""The command: paths in, stages called, paths out. Heavy parts are imported when a stage needs them."""

from __future__ import annotations

import importlib
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO, Any

import click

from ..core.one_line import one_line
from ..errors import BodyfitError
from ..version import __version__
from .last_resort import unforeseen
from .terminal.streams import refused, usable_streams

# Subcommands that live in a module of their own, imported when called: name -> module, line of help
ELSEWHERE = {
    "fit": (".fit", "The motion of the body in a capture: rotations, joint angles, a 3-D scene, a summary."),
    "activities": (
        ".movement.activities",
        "What the wearer did when: walking, stairs, sitting, lying, and changes.",
    ),
    "batch": (".batch", "Many captures fitted, reviewed and reported, with one table and page."),
    "compare": (".compare", "The same recording with other sensors, without the body, with fewer units."),
    "export": (".export", "A fit as C3D, spreadsheet, Parquet, netCDF or BIDS-Motion data set."),
    "inspect": (".inspect", "What a capture holds, what is wrong with it, and what to do."),
    "new": (".new", "A setup.toml drafted from tables of samples, each guess marked."),
    "plan": (".plan", "Which units to wear for a motion, before anything is bought or strapped on."),
    "repetitions": (
        ".movement.repetitions",
        "Every repetition of a shown movement: counted, aligned, mean curves.",
    ),
    "report": (".report", "A page that shows a fit: moving figure, joint angles, findings, trust."),
    "review": (".review", "What to be wary of in a motion: findings with time, number, limit, source."),
    "strides": (
        ".strides",
        "When feet strike and leave the ground, and every stride's length, speed, height.",
    ),
    "simulate": (".simulate", "What worn units would have measured during a given motion."),
}
INTERRUPTED, TERMINATED = 130, 143  # 128 + signal number, as POSIX shells report it


class Refusal(click.ClickException):
    """A BodyfitError on its way to the terminal: one paragraph on the error stream, its own exit code."""

    def __init__(self, error: BodyfitError) -> None:
        super().__init__(one_line(str(error)))
        self.exit_code = error.exit_code  # type: ignore[misc]

    def show(self, file: IO[Any] | None = None) -> None:
        """Prints the paragraph."""
        click.echo(f"bodyfit: {self.message}", file=file, err=file is None)


class Commands(click.Group):
    """The group of subcommands, which imports those of `ELSEWHERE` only when called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in order."""
        return sorted([*super().list_commands(ctx), *ELSEWHERE])

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The subcommand of that name."""
        if cmd_name in ELSEWHERE:
            return getattr(importlib.import_module(ELSEWHERE[cmd_name][0], __package__), cmd_name)
        return super().get_command(ctx, cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list in --help, without importing anything."""
        rows = [(name, ELSEWHERE[name][1]) for name in ELSEWHERE]
        rows += [(name, command.get_short_help_str(90)) for name, command in self.commands.items()]
        with formatter.section("Commands"):
            formatter.write_dl(sorted(rows))

    def make_context(self, *args: Any, **kwargs: Any) -> click.Context:
        """Reads the words after the command's name, and shows --help and --version."""
        usable_streams()
        with _refusals():
            return super().make_context(*args, **kwargs)

    def invoke(self, ctx: click.Context) -> Any:
        """Runs the subcommand."""
        with _refusals(), _terminates_cleanly():
            return super().invoke(ctx)


@contextmanager
def _refusals() -> Iterator[None]:
    """What bodyfit refuses on purpose, or did not foresee, becomes a paragraph and an exit code."""
    try:
        yield
    except BodyfitError as error:
        raise Refusal(error) from error
    except KeyboardInterrupt:
        raise click.exceptions.Exit(INTERRUPTED) from None
    except (click.ClickException, click.Abort, click.exceptions.Exit, BrokenPipeError):
        raise
    except OSError as error:
        raise Refusal(refused(error)) from error
    except Exception as error:
        raise Refusal(unforeseen(error)) from error


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, message="bodyfit %(version)s")
def main() -> None:
    """Turns the signals of a few worn inertial units into the motion of a jointed body."""


@contextmanager
def _terminates_cleanly() -> Iterator[None]:
    """A polite request to end (SIGTERM) unwinds the stack, so that temporary files go."""

    def end(*_: object) -> None:
        sys.exit(TERMINATED)

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
