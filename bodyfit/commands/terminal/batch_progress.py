"""How a batch goes on: redrawn lines on a terminal, one line a finished capture in a log."""

from __future__ import annotations

import sys
import threading
from types import TracebackType
from typing import IO, Any, Self

from ...study.batch.result import DONE, Row


class BatchProgress:
    """Told of each capture; on a terminal a bar of the whole and a line for each that is under way.

    Where the stream is no terminal nothing is redrawn: a line when a capture is finished, with the count.
    """

    def __init__(self, stream: IO[str] | None = None) -> None:
        self.stream = stream or sys.stderr
        self.total, self.count = 0, 0
        self.bar: Any = None
        self.lines: dict[str, Any] = {}
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

    def began(self, total: int, workers: int) -> None:
        """So many captures, so many at a time."""
        self.total = total
        if not self.stream.isatty():
            self._line(f"{total} captures, {workers} at a time")
            return
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

        columns = (TextColumn("{task.description}"), BarColumn(30), MofNCompleteColumn(), TimeElapsedColumn())
        with self.lock:
            self.bar = Progress(*columns, console=Console(file=self.stream))
            self.whole = self.bar.add_task("captures", total=total)
            self.bar.start()

    def of(self, name: str, done: int, total: int, what: str) -> None:
        """How far one capture is."""
        with self.lock:
            if self.bar is None:
                return
            if name not in self.lines:
                self.lines[name] = self.bar.add_task(name, total=total or None)
            self.bar.update(
                self.lines[name], description=f"  {name}: {what}", completed=done, total=total or None
            )

    def finished(self, row: Row, kept: bool) -> None:
        """A capture is finished."""
        self.count += 1
        told = f"{row.name}: {_told(row, kept)}"
        with self.lock:
            if self.bar is None:
                self._line(f"{self.count} of {self.total}, {told}")
                return
            if (line := self.lines.pop(row.name, None)) is not None:
                self.bar.remove_task(line)
            if row.state != DONE:
                self.bar.console.print(told, markup=False, highlight=False)
            self.bar.update(self.whole, completed=self.count)

    def _line(self, text: str) -> None:
        print(f"bodyfit: {text}", file=self.stream, flush=True)


def _told(row: Row, kept: bool) -> str:
    """What came of a capture, in a few words."""
    if row.state != DONE:
        return f"failed: {row.reason}"
    if kept:
        return "done before"
    serious = row.findings.get("serious", 0)
    return f"done in {row.seconds or 0:.1f} s" + (f", {serious} serious findings" if serious else "")
