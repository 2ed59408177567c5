"""The processes of this machine: none at all, or the standard library's process pool."""

from __future__ import annotations

import multiprocessing
import queue
import signal
import sys
import threading
from collections import Counter, deque
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from .work import RETRIES, TELL_EVERY, Died, Tell, Told, Work, on_one_thread, seldom, silent

UNWIND_S = 3.0  # s that a process has to remove its temporary files (by reasoning)
TERMINATED = 143  # 128 + SIGTERM, as POSIX shells report it


@dataclass(frozen=True)
class InProcess:
    """No other process at all: one piece after the other, here."""

    function: Work
    given: Any
    workers: int = 1

    def run(self, pieces: Sequence[Any], told: Told | None = None) -> Iterator[tuple[Any, Any]]:
        """Each piece with its result, in their order."""
        for piece in pieces:
            tell: Tell = silent if told is None else _bound(told, piece)
            yield piece, self.function(self.given, piece, tell)


def _bound(told: Told, piece: Any) -> Tell:
    return lambda done, total, what: told(piece, done, total, what)


class ProcessPool:
    """The standard library's process pool; as many pieces are under way as there are processes.

    So, when the pool breaks because a process died, the pieces under way are the only ones that can have
    killed it. Each of them is done again by itself: an innocent one finishes, the culprit is found out.
    """

    def __init__(self, function: Work, given: Any, jobs: int) -> None:
        self.shared, self.workers = (function, given), jobs
        self.before = set(multiprocessing.active_children())
        self._open()

    def _open(self) -> None:
        fresh = multiprocessing.get_context("spawn")  # a fork would copy the threads of whoever calls
        self.words = fresh.Queue()
        self.pool = ProcessPoolExecutor(
            self.workers, fresh, initializer=_start, initargs=(self.words, *self.shared)
        )

    def close(self, at_once: bool) -> None:
        """Ends the processes; `at_once` also those at work."""
        for process in set(multiprocessing.active_children()) - self.before if at_once else ():
            process.terminate()
        self.pool.shutdown(wait=True, cancel_futures=True)
        self.words.close()

    def run(self, pieces: Sequence[Any], told: Told | None = None) -> Iterator[tuple[Any, Any]]:
        """Each piece with what came of it, in the order in which they are finished."""
        with _listening(self, pieces, told):
            yield from ((pieces[k], result) for k, result in self._numbered(pieces))

    def _numbered(self, pieces: Sequence[Any]) -> Iterator[tuple[int, Any]]:
        waiting, suspects = deque(range(len(pieces))), deque[int]()
        deaths: Counter[int] = Counter()
        running: dict[Future[Any], int] = {}
        alone, ready = False, deque[tuple[int, Any]]()
        while waiting or suspects or running or ready:
            alone = bool(suspects) if not running else alone
            source = suspects if alone else waiting
            while source and len(running) < (1 if alone else self.workers):
                k = source.popleft()
                running[self._submit(k, pieces)] = k
            while ready:  # the next pieces are under way before the caller takes its time with this one
                yield ready.popleft()
            if not running:
                continue
            finished, broken = _sorted_out(running)
            ready += finished
            if broken:
                self.pool.shutdown(wait=True, cancel_futures=True)
                self._open()
            for k in broken:
                deaths[k] += 1
                if deaths[k] > RETRIES:
                    ready.append((k, Died(deaths[k])))
                else:
                    suspects.append(k)

    def _submit(self, k: int, pieces: Sequence[Any]) -> Future[Any]:
        """The piece under way; in a new pool where this one just broke while idle."""
        with _interrupts_held():
            try:
                return self.pool.submit(_run, k, pieces[k])
            except BrokenProcessPool:
                self._open()
                return self.pool.submit(_run, k, pieces[k])


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """While processes start, Ctrl-C and a request to end wait, so that no half-started one prints a trace.

    Any thread may take a signal, and Python answers it in the main one: its answers wait there. Processes
    inherit what is blocked: Ctrl-C alone, as they are ended by the other.
    """
    heard: list[int] = []
    ours = threading.current_thread() is threading.main_thread()  # elsewhere no answer can be put off
    answers = {k: signal.getsignal(k) for k in (signal.SIGINT, signal.SIGTERM) if ours}
    put_off = {k: v for k, v in answers.items() if v not in (signal.SIG_IGN, None)}
    for number in put_off:
        signal.signal(number, lambda k, _: heard.append(k))
    try:
        with _interrupts_blocked():
            yield
    finally:
        for number, answer in put_off.items():
            signal.signal(number, answer)
        for number in heard:
            signal.raise_signal(number)


@contextmanager
def _interrupts_blocked() -> Iterator[None]:
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _sorted_out(running: dict[Future[Any], int]) -> tuple[list[tuple[int, Any]], list[int]]:
    """Waits for the next pieces: those that finished, and those that a dying process took along."""
    done = wait(running, return_when=FIRST_COMPLETED).done
    finished, broken = [], []
    for future in done:
        k = running.pop(future)
        try:
            finished.append((k, future.result()))
        except BrokenProcessPool:
            broken.append(k)
    if broken:
        broken += running.values()
        running.clear()
    return finished, sorted(broken)


@contextmanager
def _listening(pool: ProcessPool, pieces: Sequence[Any], told: Told | None) -> Iterator[None]:
    """While the block runs, what processes tell is passed on."""
    if told is None:
        yield
        return
    over = threading.Event()

    def listen() -> None:
        while True:
            try:
                k, *words = pool.words.get(timeout=TELL_EVERY)
            except (queue.Empty, OSError, EOFError, ValueError):
                if over.is_set():
                    return
                continue
            told(pieces[k], *words)

    listener = threading.Thread(target=listen, daemon=True)
    listener.start()
    try:
        yield
    finally:
        over.set()
        listener.join()


# --- in a process of the pool ---

_SHARED: list[Any] = []  # words, function, given: what every piece of a process needs


def _start(words: Any, function: Work, given: Any) -> None:
    """Takes what all pieces share; Ctrl-C is left to whoever started this process, whose end is its own."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _unwind)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    words.cancel_join_thread()
    _SHARED[:] = [words, function, given]


def _end_with_parent() -> None:
    """Ends this process when the one that started it is gone, killed perhaps; it would wait for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        main = threading.main_thread().ident
        if hasattr(signal, "pthread_kill") and main is not None:  # reaches the main thread where it waits
            signal.pthread_kill(main, signal.SIGTERM)
        else:
            signal.raise_signal(signal.SIGTERM)


def _unwind(*_: object) -> None:
    """A polite request to end: temporary files go; what does not unwind in time ends all the same."""
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    ender = threading.Timer(UNWIND_S, signal.raise_signal, [signal.SIGTERM])
    ender.daemon = True
    ender.start()
    sys.exit(TERMINATED)


def _run(k: int, piece: Any) -> Any:
    words, function, given = _SHARED
    return on_one_thread(
        function, given, piece, seldom(lambda done, total, what: words.put((k, done, total, what)))
    )
