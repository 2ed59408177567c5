"""Work done side by side, one process a core; whatever ends the block ends what still runs."""

from __future__ import annotations

import multiprocessing
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from typing import Any

_GIVEN: list[tuple[Callable[..., Any], Any]] = []  # what every piece of work of a process is about
Runner = Callable[[Sequence[Any]], Iterator[tuple[Any, Any]]]


@contextmanager
def side_by_side(function: Callable[..., Any], given: Any, jobs: int) -> Iterator[Runner]:
    """A runner of pieces of work that share what they are given.

    Parameters
    ----------
    function : called as function(given, piece), of a module's top level
    given : handed to each process once
    jobs : processes; 1: in this one

    Yields
    ------
    runner : takes pieces, yields each with what came of it, in the order in which they are finished
    """
    if jobs == 1:
        yield lambda pieces: ((piece, function(given, piece)) for piece in pieces)
        return
    earlier = set(multiprocessing.active_children())
    fresh = multiprocessing.get_context("spawn")  # a fork would copy the threads of whoever calls
    pool = ProcessPoolExecutor(jobs, fresh, initializer=_start, initargs=(function, given))

    def run(pieces: Sequence[Any]) -> Iterator[tuple[Any, Any]]:
        running = {pool.submit(_run, piece): piece for piece in pieces}
        for future in as_completed(running):
            yield running[future], future.result()

    finished = False
    try:
        yield run
        finished = True
    finally:
        for process in () if finished else set(multiprocessing.active_children()) - earlier:
            process.terminate()
        pool.shutdown(wait=True, cancel_futures=True)


def _start(function: Callable[..., Any], given: Any) -> None:
    """Takes what all pieces share; Ctrl-C is left to whoever started this process, whose end is its own."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    _GIVEN[:] = [(function, given)]


def _end_with_parent() -> None:
    """Ends this process when the one that started it is gone, killed perhaps; it would wait for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        signal.raise_signal(signal.SIGTERM)


def _run(piece: Any) -> Any:
    from threadpoolctl import threadpool_limits

    function, given = _GIVEN[0]
    with threadpool_limits(1):
        return function(given, piece)
