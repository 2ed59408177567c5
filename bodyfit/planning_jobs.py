"""Jobs of a plan done side by side, one process a core, each kept as soon as it is finished."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager

from .comparing import fingerprint
from .planning import Question
from .planning_search import Job, Worker, done

Found = Sequence[Mapping[str, float]]
_GIVEN: list[Question] = []  # what every job of a process is about


def key_of(question: Question, common: str, job: Job) -> str:
    """A hash of everything that a job's result depends on; `common` is `common_key` of the question."""
    return fingerprint(common, job)[:32]


def common_key(question: Question) -> str:
    """A hash of what all jobs of a question share."""
    shared = (question.motion, question.settings, question.mounting_sd, question.tolerance, question.seed)
    return fingerprint(*shared)


@contextmanager
def workers(
    question: Question,
    jobs: int,
    read: Callable[[str], Found | None],
    write: Callable[[str, Found], None],
) -> Iterator[Worker]:
    """A worker that looks for what was kept first; leaving the block ends what still runs.

    Parameters
    ----------
    question : what the jobs are about
    jobs : processes; 1: in this one
    read, write : what was kept under a key, or None; keep it

    Yields
    ------
    worker, see `bodyfit.planning_search.plan`
    """
    common = common_key(question)
    earlier = set(multiprocessing.active_children())
    pool = None
    if jobs > 1:
        fresh = multiprocessing.get_context("spawn")  # a fork would copy the threads of whoever calls
        pool = ProcessPoolExecutor(jobs, fresh, initializer=_start, initargs=(question,))
    finished = False

    def work(wanted: Sequence[Job]) -> list[Found]:
        keys = {job: key_of(question, common, job) for job in wanted}
        have = {job: found for job in wanted if (found := read(keys[job])) is not None}
        for job, found in _done(question, pool, [job for job in wanted if job not in have]):
            write(keys[job], found)
            have[job] = found
        return [have[job] for job in wanted]

    try:
        yield work
        finished = True
    finally:
        for process in () if finished else set(multiprocessing.active_children()) - earlier:
            process.terminate()
        if pool is not None:
            pool.shutdown(wait=True, cancel_futures=True)


def _done(
    question: Question, pool: ProcessPoolExecutor | None, jobs: Sequence[Job]
) -> Iterator[tuple[Job, Found]]:
    """Jobs and what came of them, as they are finished."""
    if pool is None:
        yield from ((job, done(question, job)) for job in jobs)
        return
    running = {pool.submit(_run, job): job for job in jobs}
    for future in as_completed(running):
        yield running[future], future.result()


def _start(question: Question) -> None:
    """Takes what all jobs share; Ctrl-C is left to whoever started this process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _GIVEN[:] = [question]


def _run(job: Job) -> Found:
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        return done(_GIVEN[0], job)
