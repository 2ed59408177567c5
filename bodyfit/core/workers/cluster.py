"""A running Dask cluster as a pool of workers; Dask is an optional dependency, `bodyfit[cluster]`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from ...errors import InputError, OutputError
from ...version import __version__
from .work import RETRIES, Died, Pool, Told, Work, on_one_thread, seldom

CONNECT_S = 20  # s to wait for a scheduler to answer; tried: a local one answers in 0.1 s
TOPIC = "bodyfit-progress"


@contextmanager
def dask_pool(function: Work, given: Any, scheduler: str) -> Iterator[Pool]:
    """A pool over a running cluster, whose workers have the same bodyfit installed.

    Parameters
    ----------
    function, given : as `bodyfit.core.workers.pool.worker_pool`
    scheduler : address, e.g. "tcp://10.0.0.7:8786"

    Raises
    ------
    InputError
        No scheduler answers there, it has no workers, or they have another version of bodyfit.
    OutputError
        Dask's `distributed` is not installed.
    """
    try:
        import distributed
    except ImportError as error:
        raise OutputError(
            f"--scheduler: needs Dask, which is not installed ({error}); pip install 'bodyfit[cluster]'"
        ) from error
    try:
        client = distributed.Client(scheduler, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(
            f"scheduler {scheduler!r}: no Dask scheduler answers ({error}); expected an address such as "
            "tcp://10.0.0.7:8786"
        ) from None
    with client:
        _check_workers(client, scheduler)
        before = client.run_on_scheduler(_allow, failures=RETRIES)
        try:
            yield DaskPool(function, given, client)
        finally:
            client.run_on_scheduler(_allow, failures=before)


def _check_workers(client: Any, scheduler: str) -> None:
    """There are workers, and they know this bodyfit."""
    found = client.run(_version)
    if not found:
        raise InputError(f"scheduler {scheduler!r}: the cluster has no workers; start some")
    other = {where: version for where, version in found.items() if version != __version__}
    if other:
        where, version = next(iter(other.items()))
        raise InputError(
            f"scheduler {scheduler!r}: worker {where} has bodyfit {version}, expected {__version__}; install "
            "the same version on every worker"
        )


def _version() -> str:
    try:
        from bodyfit import __version__
    except ImportError:
        return "not at all"
    return __version__


def _allow(failures: int, dask_scheduler: Any = None) -> int:
    """On the scheduler: how many workers a task may take along before it is given up; the number before."""
    before = dask_scheduler.allowed_failures
    dask_scheduler.allowed_failures = failures
    return before


class DaskPool:
    """Pieces of work on a cluster, as many under way as its workers have threads."""

    def __init__(self, function: Work, given: Any, client: Any) -> None:
        self.function, self.given, self.client = function, given, client
        self.workers = max(1, sum(client.nthreads().values()))

    def run(self, pieces: Sequence[Any], told: Told | None = None) -> Iterator[tuple[Any, Any]]:
        """Each piece with what came of it, in the order in which they are finished."""
        import distributed

        if told is not None:
            self.client.subscribe_topic(TOPIC, lambda event: _pass_on(event, pieces, told))
        running: dict[Any, int] = {}
        order = iter(range(len(pieces)))
        queue = distributed.as_completed([], loop=self.client.loop)
        try:
            for k in order:
                self._submit(k, pieces, running, queue)
                if len(running) == self.workers:
                    break
            while running:
                future = next(queue)
                k = running.pop(future)
                if (following := next(order, None)) is not None:
                    self._submit(following, pieces, running, queue)
                yield pieces[k], _result(future)
        finally:
            if running:
                self.client.cancel(list(running), force=True)
            if told is not None:
                self.client.unsubscribe_topic(TOPIC)

    def _submit(self, k: int, pieces: Sequence[Any], running: dict[Any, int], queue: Any) -> None:
        future = self.client.submit(_task, self.function, self.given, k, pieces[k], pure=False)
        running[future] = k
        queue.add(future)


def _result(future: Any) -> Any:
    """What came of a piece; what it raised is raised here."""
    from distributed import KilledWorker

    try:
        return future.result()
    except KilledWorker:
        return Died(RETRIES + 1)


def _pass_on(event: tuple[Any, Any], pieces: Sequence[Any], told: Told) -> None:
    """A worker's word about its piece."""
    k, *words = event[1]
    told(pieces[k], *words)


def _task(function: Work, given: Any, k: int, piece: Any) -> Any:
    """On a worker: the piece done, its progress told by way of the scheduler."""
    from distributed import get_worker

    worker = get_worker()
    tell = seldom(lambda done, total, what: worker.log_event(TOPIC, (k, done, total, what)))
    return on_one_thread(function, given, piece, tell)
