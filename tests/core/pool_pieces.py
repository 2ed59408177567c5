"""Pieces of work for the tests of worker pools; a module of its own, as other processes import it."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path


def add(given, piece, tell):
    tell(piece, 3, "adding")
    return given + piece


def deadly(folder, piece, tell):
    """Piece "always" kills its process each time, "once" the first time; each start is noted."""
    mark = Path(folder) / f"{piece}-{os.getpid()}-{time.monotonic_ns()}"
    mark.touch()
    begun = len(list(Path(folder).glob(f"{piece}-*")))
    if piece == "always" or (piece == "once" and begun == 1):
        time.sleep(0.3)  # so that a neighbour is under way and goes down with it
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.4)
    return piece.upper()


def refuses(given, piece, tell):
    raise ValueError(f"piece {piece} is no good")
