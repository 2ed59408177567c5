"""Whatever goes wrong ends in one line: without a traceback, without codes for the terminal, bounded."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from bodyfit.commands import main as command
from bodyfit.errors import InputError


def run(monkeypatch, error):
    """The command whose only subcommand raises."""

    @click.command()
    def broken() -> None:
        raise error

    monkeypatch.setattr(command.Commands, "get_command", lambda *_: broken)
    return CliRunner().invoke(command.main, ["broken"], prog_name="bodyfit")


@pytest.mark.parametrize(
    "error", [ZeroDivisionError("by zero"), RecursionError("deep"), MemoryError(), KeyError("a")]
)
def test_the_unforeseen_is_one_line_a_trace_file_and_70(monkeypatch, tmp_path, error):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    done = run(monkeypatch, error)
    assert done.exit_code == 70 and done.output.count("\n") == 1 and "Traceback" not in done.output
    (path,) = re.findall(r"trace is in (\S+);", done.output)
    text = Path(path).read_text(encoding="utf-8")
    assert "Traceback" in text and type(error).__name__ in text


def test_a_trace_that_can_not_be_kept_is_said(monkeypatch, tmp_path):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "missing"))
    done = run(monkeypatch, ValueError("x"))
    assert done.exit_code == 70 and "could not be kept" in done.output


def test_a_refusal_stays_a_refusal(monkeypatch):
    done = run(monkeypatch, InputError("a.toml: found 1"))
    assert done.exit_code == 2 and done.output == "bodyfit: a.toml: found 1\n"


def test_errors_hold_no_codes_and_are_bounded(monkeypatch):
    done = run(monkeypatch, InputError("\x1b[31mred\x07\n" + 100_000 * "x" + " end"))
    assert "\x1b" not in done.output and "\x07" not in done.output and len(done.output) < 4100
