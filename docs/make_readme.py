"""Renews what is measured in README.md (prints, tables), and what planning.md and movement.md print.

python docs/make_readme.py
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from click.testing import CliRunner

from bodyfit.commands.main import main

ROOT = Path(__file__).resolve().parents[1]
README, VALIDATION, PLANNING, MOVEMENT = (
    ROOT / "README.md",
    ROOT / "docs" / "validation.md",
    ROOT / "docs" / "planning.md",
    ROOT / "docs" / "movement.md",
)
TABLES = {
    "accuracy": "In short",
    "layers": "What each layer buys",
}  # part of the README -> section of validation.md


def part(text: str, name: str) -> str:
    """What stands between a marker and its end."""
    found = re.search(rf"<!-- {name} -->\n(.*?)<!-- end -->", text, re.S)
    assert found, f"README.md: no part marked {name!r}"
    return found[1]


def table_of(page: str, section: str) -> str:
    """The first table of a section."""
    found = re.search(rf"^## {section}\n.*?^(\|.*?\n)(?!\|)", page, re.S | re.M)
    assert found, f"validation.md: no table under {section!r}"
    return found[1]


def blocks(text: str, language: str) -> list[str]:
    """Fenced blocks of a language."""
    return re.findall(rf"```{language}\n(.*?)```", text, re.S)


def run_command(text: str, name: str = "fit") -> str:
    """What the README's first command of that name prints, run in a folder and a process of its own."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with own_folder() as folder:
        call = [sys.executable, "-m", "bodyfit", *arguments_of(text, name)]
        done = subprocess.run(call, cwd=folder, env=environment, capture_output=True, text=True, check=True)
    return trimmed(done.stdout)


def run_plan(text: str) -> str:
    """What the README's `bodyfit plan` prints, worked out in this process: the same whatever the jobs."""
    with own_folder():
        return run_here([*arguments_of(text, "plan"), "--jobs", "1"])


def run_chain(text: str, name: str) -> str:
    """What the commands of a page's first block with `bodyfit NAME` print, all but the first of them."""
    block = next(block for block in blocks(text, "sh") if f"bodyfit {name} " in block)
    commands = [line.split("bodyfit ", 1)[1].split() for line in block.splitlines() if "bodyfit " in line]
    with own_folder():
        return "\n".join([run_here(arguments) for arguments in commands][1:])


def arguments_of(text: str, name: str) -> list[str]:
    """Words of a page's first command of that name, its name first."""
    command = next(block for block in blocks(text, "sh") if f"bodyfit {name}" in block)
    return [name, *command.split(f"bodyfit {name}", 1)[1].replace("\\\n", " ").split()]


def run_here(arguments: list[str]) -> str:
    """What a command prints, run in this process."""
    result = CliRunner().invoke(main, arguments, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return trimmed(result.stdout)


def trimmed(printed: str) -> str:
    """The lines without spaces at their ends and empty lines around them."""
    return "\n".join(line.rstrip() for line in printed.strip("\n").splitlines()) + "\n"


@contextlib.contextmanager
def own_folder() -> Iterator[str]:
    """A new folder with the demo captures in it, to work in."""
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        (Path(folder) / "demo_captures").symlink_to(ROOT / "demo_captures")
        yield folder


def run_python(text: str) -> str:
    """What a page's first Python prints, run in a folder of its own."""
    out = io.StringIO()
    with own_folder(), contextlib.redirect_stdout(out):
        exec(compile(blocks(text, "python")[0], "page", "exec"), {"__name__": "page"})
    return out.getvalue()


def renewed(text: str, page: str) -> str:
    """The README with its measured parts made anew."""
    parts = {name: table_of(page, section) for name, section in TABLES.items()}
    parts["printed"] = f"```text\n{run_command(text)}```\n"
    parts["planned"] = f"```text\n{run_plan(text)}```\n"
    parts["happened"] = f"```text\n{run_chain(text, 'strides')}```\n"
    parts["python"] = f"```text\n{run_python(text)}```\n"
    return with_parts(text, parts)


def with_parts(text: str, parts: dict[str, str]) -> str:
    """The page with its marked parts replaced."""
    for name, new in parts.items():
        text = text.replace(f"<!-- {name} -->\n{part(text, name)}", f"<!-- {name} -->\n{new}")
    return text


if __name__ == "__main__":
    README.write_text(renewed(README.read_text(), VALIDATION.read_text()))
    for path in (PLANNING, MOVEMENT):
        page = path.read_text()
        path.write_text(with_parts(page, {"python": f"```text\n{run_python(page)}```\n"}))
    print(f"written {README}, {PLANNING}, {MOVEMENT}")
