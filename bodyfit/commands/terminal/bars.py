"""A stream on which bars are drawn where it is a terminal, and lines are written where it is none."""

from __future__ import annotations

import sys
import threading
from types import TracebackType
from typing import IO, Any, Self


class Bars:
    """Bars on the error stream, taken away at the end whatever happens; use as a context manager.

    Attributes
    ----------
    stream : where to
    bar : rich's progress while it is shown, else None
    lock : held by whoever touches `bar`
    """

    def __init__(self, stream: IO[str] | None = None) -> None:
        self.stream = stream or sys.stderr
        self.bar: Any = None
        self.lock = threading.Lock()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with self.lock:
            if self.bar is not None:
                self.bar.stop()
                self.bar = None

    def drawn(self, *, counted: bool, transient: bool) -> Any:
        """Rich's progress for this stream, to become `bar`; `counted`: with "3/7" behind the bar."""
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

        count = (MofNCompleteColumn(),) if counted else ()
        columns = (TextColumn("{task.description}"), BarColumn(30), *count, TimeElapsedColumn())
        return Progress(*columns, console=Console(file=self.stream), transient=transient)

    def line(self, text: str) -> None:
        """A line at once, for a log."""
        print(f"bodyfit: {text}", file=self.stream, flush=True)
