"""Renews what is measured in README.md: printed output, and tables from validation.md.

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
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
README, VALIDATION = ROOT / "README.md", ROOT / "docs" / "validation.md"
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


def run_command(text: str) -> str:
    """What the README's first command prints, run in a folder of its own."""
    command = next(block for block in blocks(text, "sh") if "bodyfit fit" in block)
    arguments = command.split("bodyfit fit", 1)[1].split()
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "demo_captures").symlink_to(ROOT / "demo_captures")
        call = [sys.executable, "-m", "bodyfit", "fit", *arguments]
        done = subprocess.run(call, cwd=folder, env=environment, capture_output=True, text=True, check=True)
    return "\n".join(line.rstrip() for line in done.stdout.strip("\n").splitlines()) + "\n"


def run_python(text: str) -> str:
    """What the README's Python prints, run in a folder of its own."""
    out, here = io.StringIO(), Path.cwd()
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(out):
        (Path(folder) / "demo_captures").symlink_to(ROOT / "demo_captures")
        os.chdir(folder)
        try:
            exec(compile(blocks(text, "python")[0], "README.md", "exec"), {})
        finally:
            os.chdir(here)
    return out.getvalue()


def renewed(text: str, page: str) -> str:
    """The README with its measured parts made anew."""
    parts = {name: table_of(page, section) for name, section in TABLES.items()}
    parts["printed"] = f"```text\n{run_command(text)}```\n"
    parts["python"] = f"```text\n{run_python(text)}```\n"
    for name, new in parts.items():
        text = text.replace(f"<!-- {name} -->\n{part(text, name)}", f"<!-- {name} -->\n{new}")
    return text


if __name__ == "__main__":
    README.write_text(renewed(README.read_text(), VALIDATION.read_text()))
    print(f"written {README}")
