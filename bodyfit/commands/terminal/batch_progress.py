"""How a batch goes on: redrawn lines on a terminal, one line a finished capture in a log."""

from __future__ import annotations

from typing import IO, Any

from ...study.batch.result import DONE, Row
from .bars import Bars


class BatchProgress(Bars):
    """Told of each capture; on a terminal a bar of the whole and a line for each that is under way.

    Where the stream is no terminal nothing is redrawn: a line when a capture is finished, with the count.
    """

    def __init__(self, stream: IO[str] | None = None) -> None:
        super().__init__(stream)
        self.total, self.count = 0, 0
        self.lines: dict[str, Any] = {}

    def began(self, total: int, workers: int) -> None:
        """So many captures, so many at a time."""
        self.total = total
        if not self.stream.isatty():
            self.line(f"{total} captures, {workers} at a time")
            return
        bar = self.drawn(counted=True, transient=False)
        with self.lock:
            self.bar = bar
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
                self.line(f"{self.count} of {self.total}, {told}")
                return
            if (line := self.lines.pop(row.name, None)) is not None:
                self.bar.remove_task(line)
            if row.state != DONE:
                self.bar.console.print(told, markup=False, highlight=False)
            self.bar.update(self.whole, completed=self.count)


def _told(row: Row, kept: bool) -> str:
    """What came of a capture, in a few words."""
    if row.state != DONE:
        return f"failed: {row.reason}"
    if kept:
        return "done before"
    serious = row.findings.get("serious", 0)
    return f"done in {row.seconds or 0:.1f} s" + (f", {serious} serious findings" if serious else "")
