"""What is being done, shown on the error stream once it takes longer than a second."""

from __future__ import annotations

import sys
import threading
import time
from types import TracebackType
from typing import IO, Any, Self

SHOWN_AFTER = 1.0  # s
LINE_EVERY = 10.0  # s, where the stream is no terminal; chosen; not tried


class Progress:
    """Called with (done, total, what); draws a bar on a terminal, else writes a line now and then.

    Use as a context manager. Nothing appears when everything is over within a second.
    """

    def __init__(self, stream: IO[str] | None = None) -> None:
        self.stream = stream or sys.stderr
        self.state = (0, 0, "starting")
        self.bar: Any = None
        self.lock = threading.Lock()
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
            if self.bar is not None:
                self.bar.stop()

    def __call__(self, done: int, total: int, what: str) -> None:
        """Takes note of the state; shows it if it is time."""
        with self.lock:
            self.state = (done, total, what)
            if self.bar is not None:
                self._update()
            elif not self.stream.isatty() and time.monotonic() >= self.line_due:
                self.line_due = time.monotonic() + LINE_EVERY
                print(f"bodyfit: {what}, {done} of {total}", file=self.stream, flush=True)

    def _show(self) -> None:
        """Starts the bar; runs on the timer's thread."""
        from rich.console import Console
        from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
        from rich.progress import Progress as Bar

        with self.lock:
            if self.over:
                return
            columns = (TextColumn("{task.description}"), BarColumn(30), TimeElapsedColumn())
            self.bar = Bar(*columns, console=Console(file=self.stream), transient=True)
            self.bar.add_task("")
            self._update()
            self.bar.start()

    def _update(self) -> None:
        done, total, what = self.state
        self.bar.update(self.bar.task_ids[0], description=what, completed=done, total=total or None)
