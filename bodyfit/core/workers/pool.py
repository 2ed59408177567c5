"""Where pieces of work are done: here, on processes of this machine, or on a cluster; one interface."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from .cluster import dask_pool
from .processes import InProcess, ProcessPool
from .work import Died, Pool, Work, WorkerDiedError


@contextmanager
def worker_pool(
    function: Work, given: Any, jobs: int = 1, *, scheduler: str | None = None, apart: bool = False
) -> Iterator[Pool]:
    """A pool for pieces of work that share what they are given; whatever ends the block ends what still runs.

    Parameters
    ----------
    function : called as function(given, piece, tell), of a module's top level; tell(done, total, what)
    given : what all pieces are about
    jobs : processes; 1: this one, unless `apart`
    scheduler : address of a running Dask cluster, which then does the work whatever `jobs` is
    apart : also a single job runs in a process of its own, which may die without harm to this one
    """
    if scheduler is not None:
        with dask_pool(function, given, scheduler) as pool:
            yield pool
        return
    if jobs == 1 and not apart:
        yield InProcess(function, given)
        return
    pool, finished = ProcessPool(function, given, jobs), False
    try:
        yield pool
        finished = True
    finally:
        pool.close(at_once=not finished)


def results_of(outcomes: Iterator[tuple[Any, Any]]) -> Iterator[tuple[Any, Any]]:
    """The outcomes of a run in which no worker may die for good.

    Raises
    ------
    WorkerDiedError
        A piece killed its workers.
    """
    for piece, result in outcomes:
        if isinstance(result, Died):
            raise WorkerDiedError(
                f"{piece}: the process that worked on it died {result.times} times; is there too "
                "little memory? Use fewer jobs, or leave it out"
            )
        yield piece, result
