"""What is being done, shown on the error stream once it takes longer than a second."""

from __future__ import annotations

import threading
import time
from types import TracebackType
from typing import IO, Self

from .terminal.bars import Bars

SHOWN_AFTER = 1.0  # s
LINE_EVERY = 10.0  # s, where the stream is no terminal; chosen; not tried


class Progress(Bars):
    """Called with (done, total, what); draws a bar on a terminal, else writes a line now and then.

    Use as a context manager. Nothing appears when everything is over within a second.
    """

    def __init__(self, stream: IO[str] | None = None) -> None:
        super().__init__(stream)
        self.state = (0, 0, "starting")
        self.timer = threading.Timer(SHOWN_AFTER, self._show)
        self.timer.daemon = True
        self.line_due = time.monotonic() + LINE_EVERY
        self.over = False

    def __enter__(self) -> Self:
        if self.stream.isatty():
            self.timer.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.timer.cancel()
        with self.lock:
            self.over = True
        super().__exit__(kind, error, trace)

    def __call__(self, done: int, total: int, what: str) -> None:
        """Takes note of the state; shows it if it is time."""
        with self.lock:
            self.state = (done, total, what)
            if self.bar is not None:
                self._update()
            elif not self.stream.isatty() and time.monotonic() >= self.line_due:
                self.line_due = time.monotonic() + LINE_EVERY
                self.line(f"{what}, {done} of {total}")

    def _show(self) -> None:
        """Starts the bar; runs on the timer's thread."""
        bar = self.drawn(counted=False, transient=True)  # libraries are loaded before the lock is taken
        with self.lock:
            if self.over:
                return
            self.bar = bar
            self.bar.add_task("")
            self._update()
            self.bar.start()

    def _update(self) -> None:
        done, total, what = self.state
        self.bar.update(self.bar.task_ids[0], description=what, completed=done, total=total or None)
