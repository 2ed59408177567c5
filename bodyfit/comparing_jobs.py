"""Cases of a comparison run side by side, one process a core."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed

from .capture import Capture
from .comparing import Case, CaseResult, run_case
from .reference import Reference

_GIVEN: list[tuple[Capture, Reference, bool]] = []  # what every case of a process is about


def results_of(
    capture: Capture, cases: Sequence[Case], reference: Reference, align_clock: bool, jobs: int
) -> Iterator[CaseResult]:
    """Results as they come; leaving the loop ends what still runs.

    Parameters
    ----------
    capture, cases, reference, align_clock : see `bodyfit.comparing.run_case`
    jobs : processes; 1: in this one

    Yields
    ------
    CaseResult, in the order in which they are finished
    """
    if jobs == 1 or len(cases) < 2:
        yield from (run_case(capture, case, reference, align_clock) for case in cases)
        return
    fresh = multiprocessing.get_context("spawn")  # a fork would copy the threads of whoever calls
    earlier = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(
        min(jobs, len(cases)), fresh, initializer=_start, initargs=(capture, reference, align_clock)
    )
    done = False
    try:
        for future in as_completed([pool.submit(_run, case) for case in cases]):
            yield future.result()
        done = True
    finally:
        for process in () if done else set(multiprocessing.active_children()) - earlier:
            process.terminate()
        pool.shutdown(wait=True, cancel_futures=True)


def _start(capture: Capture, reference: Reference, align_clock: bool) -> None:
    """Takes what all cases share; Ctrl-C is left to whoever started this process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _GIVEN[:] = [(capture, reference, align_clock)]


def _run(case: Case) -> CaseResult:
    capture, reference, align_clock = _GIVEN[0]
    return run_case(capture, case, reference, align_clock)
