"""What workers of every kind agree on: how a piece of work is called, tells of its progress, and may be lost.

A worker may die (out of memory, a crash in compiled code, a machine that goes away). What it was at is then
begun again elsewhere, at most twice; a piece that kills its worker each time comes back as `Died`.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from ...errors import BodyfitError

# times that a piece is begun again after a worker died at it: the issue's own limit; common practice
RETRIES = 2
TELL_EVERY = 0.2  # s between words of progress from one piece: common practice, slower than the eye asks for

Tell = Callable[[int, int, str], None]
Told = Callable[[Any, int, int, str], None]
Work = Callable[[Any, Any, Tell], Any]


@dataclass(frozen=True)
class Died:
    """What came of a piece whose worker died each time: how often that was."""

    times: int


class WorkerDiedError(BodyfitError):
    """A piece of work killed every worker that it was given to; names the piece."""

    exit_code = 1


class Pool(Protocol):
    """Where pieces of work are done."""

    @property
    def workers(self) -> int:
        """How many pieces are under way at a time."""
        ...

    def run(self, pieces: Sequence[Any], told: Told | None = None) -> Iterator[tuple[Any, Any]]:
        """Each piece with what came of it, in the order in which they are finished.

        Parameters
        ----------
        pieces : what to work on
        told : called with (piece, done, total, what) as pieces tell of their progress; from another thread
        """
        ...


def silent(done: int, total: int, what: str) -> None:
    """Takes progress and tells nobody."""


def seldom(tell: Tell) -> Tell:
    """Passes on what it is told, but not more often than every fifth of a second."""
    last = [-TELL_EVERY]

    def maybe(done: int, total: int, what: str) -> None:
        now = time.monotonic()
        if now - last[0] >= TELL_EVERY:
            last[0] = now
            tell(done, total, what)

    return maybe


def on_one_thread(function: Work, given: Any, piece: Any, tell: Tell) -> Any:
    """The piece done, libraries of linear algebra kept to one thread: there is a process a core already."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        return function(given, piece, tell)
