"""The streams that a command prints to: closed, full, or of few characters, they must not end it badly."""

from __future__ import annotations

import os
import sys

from ...errors import OutputError


def usable_streams() -> None:
    """Makes closed streams swallow what is printed, and those of few characters print what they can."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None or stream.closed:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def refused(error: OSError) -> OutputError:
    """What the system refused, as an error to tell: a path, or, where none is named, what was printed.

    Parameters
    ----------
    error : that no reader or writer took up

    Returns
    -------
    OutputError
    """
    reason = error.strerror or str(error)
    if error.filename is not None:
        return OutputError(f"{error.filename}: {reason}; give another path, or change what forbids it")
    _forget_stdout()
    return OutputError(f"standard output: cannot be written: {reason}; make room, or print elsewhere")


def _forget_stdout() -> None:
    """What is left to print goes nowhere, so that the interpreter's own last flush does not fail again."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.close(nowhere)
