"""Parts that every command prints with: one line of a text, tables, the console, streams, bars, options."""

from __future__ import annotations

import errno
import io
import sys

import click
import pytest
from click.testing import CliRunner
from rich.console import Console

from bodyfit.commands.terminal import streams
from bodyfit.commands.terminal.bars import Bars
from bodyfit.commands.terminal.given import FiniteRange, GivenPath
from bodyfit.commands.terminal.streams import refused, usable_streams
from bodyfit.commands.terminal.table import (
    NONE,
    WIDTH,
    console_of,
    number,
    plain_table,
    print_named,
    print_written,
)
from bodyfit.core.one_line import one_line


def test_a_text_becomes_one_line_that_a_terminal_does_not_obey():
    assert one_line("a\n  b\tc") == "a b c"
    assert one_line("red \x1b[31m text") == "red \N{REPLACEMENT CHARACTER}[31m text"
    assert "\x1b" not in one_line("\x1b]0;title\x07")


def test_a_long_text_keeps_its_beginning_and_its_end():
    line = one_line("a" * 3000 + "b" * 3000, 100)
    assert line.startswith("a" * 50 + " … ") and len(line) <= 104
    assert one_line("x" * 100, 100) == "x" * 100


def test_numbers_that_are_not_known_are_a_dash():
    assert (number(1.234, 1), number(None, 1)) == ("1.2", NONE)


def printed(show) -> str:
    text = io.StringIO()
    show(console_of(Console(file=text, highlight=False)))
    return text.getvalue()


def test_a_console_is_a_hundred_columns_wide_where_it_is_no_terminal():
    assert console_of(Console(file=io.StringIO(), width=300)).width == WIDTH == 100
    terminal = Console(file=io.StringIO(), width=60, force_terminal=True)
    assert console_of(terminal).width == 60


def test_named_lines_stand_below_each_other():
    assert printed(lambda console: print_named(console, {"body": "arm", "units": "5"}, 8)) == (
        "body    arm\nunits   5\n"
    )


def test_files_written_stand_on_one_line_however_long():
    paths = ["x" * 70, "y" * 70]
    assert printed(lambda console: print_written(console, paths)).count("\n") == 1  # type: ignore[arg-type]


def test_numbers_of_a_table_are_flush_right():
    def show(console):
        table = plain_table("name", ">value")
        table.add_row("a", "1")
        table.add_row("b", "100")
        console.print(table)

    lines = printed(show).splitlines()
    assert [line.rstrip() for line in lines] == ["name  value", "a         1", "b       100"]


# --- streams ---


def test_a_closed_stream_swallows_what_is_printed(monkeypatch):
    monkeypatch.setattr(sys, "stdout", None)
    usable_streams()
    print("nobody reads this")
    sys.stdout.close()


def test_a_stream_of_few_characters_prints_what_it_can(monkeypatch):
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="ascii"))
    usable_streams()
    print("5°", flush=True)
    assert raw.getvalue() == b"5?\n"


def test_what_the_system_refuses_names_the_path_or_the_output(monkeypatch):
    forgotten = []
    monkeypatch.setattr(streams, "_forget_stdout", lambda: forgotten.append(True))
    told = refused(OSError(errno.EACCES, "Permission denied", "/some/file"))
    assert str(told).startswith("/some/file: Permission denied; give another path") and not forgotten
    told = refused(OSError(errno.ENOSPC, "No space left on device"))
    assert str(told).startswith("standard output: cannot be written: No space left") and forgotten


# --- bars ---


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_bar_is_taken_away_when_the_work_fails():
    bars = Bars(Terminal())
    with pytest.raises(KeyError), bars:
        bars.bar = bars.drawn(counted=True, transient=True)
        bars.bar.add_task("work", total=3)
        bars.bar.start()
        raise KeyError
    assert bars.bar is None


def test_a_line_for_a_log_stands_at_once():
    log = io.StringIO()
    with Bars(log) as bars:
        bars.line("2 of 3")
        assert log.getvalue() == "bodyfit: 2 of 3\n"


# --- what is given ---


@click.command()
@click.argument("path", type=GivenPath())
@click.option("--share", type=FiniteRange(0, 1), default=0.5)
def asked(path, share):
    click.echo(f"{path} {share}")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["x"], "x 0.5"),
        ([" "], "found '', expected a path"),
        (["x", "--share", "nan"], "found nan, expected a finite number"),
        (["x", "--share", "2"], "is not in the range"),
    ],
)
def test_what_can_be_no_path_and_no_number_is_refused(words, told):
    assert told in CliRunner().invoke(asked, words).output
