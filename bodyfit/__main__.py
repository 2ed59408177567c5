"""`python -m bodyfit`: the same command."""

from .cli import main

main(prog_name="bodyfit")
