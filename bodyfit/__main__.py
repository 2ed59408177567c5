"""`python -m bodyfit`: the same command."""

from __future__ import annotations

from .commands.main import main

main(prog_name="bodyfit")
