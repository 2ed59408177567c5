"""A running Dask cluster as a pool of workers; Dask is an optional dependency, `bodyfit[cluster]`."""

from __future__ import annotations

import time
from collections.abc import Collection, Iterable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from itertools import islice
from typing import Any

from ...errors import InputError, OutputError
from ...version import __version__
from .work import RETRIES, Died, Pool, Told, Work, on_one_thread, seldom

CONNECT_S = 20  # s to wait for a scheduler to answer; tried: 0.1 s on a local one
LOOK_S = 5  # s of silence after which it is asked whether there still are workers; chosen; not tried
PATIENCE_S = 120  # s without any worker after which a cluster is given up; chosen; not tried
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
            yield DaskPool(function, given, client, scheduler)
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

    def __init__(self, function: Work, given: Any, client: Any, scheduler: str) -> None:
        self.function, self.given, self.client, self.scheduler = function, given, client, scheduler
        self.workers = max(1, sum(client.nthreads().values()))

    def run(self, pieces: Sequence[Any], told: Told | None = None) -> Iterator[tuple[Any, Any]]:
        """Each piece with what came of it, in the order in which they are finished.

        Raises
        ------
        InputError
            The cluster has had no worker for two minutes, or its scheduler is gone.
        """
        if told is not None:
            self.client.subscribe_topic(TOPIC, lambda event: _pass_on(event, pieces, told))
        running: dict[Any, int] = {}
        order = iter(range(len(pieces)))
        try:
            for k in islice(order, self.workers):
                running[self._submitted(k, pieces)] = k
            while running:
                for future in self._finished(running):
                    k = running.pop(future)
                    if (following := next(order, None)) is not None:
                        running[self._submitted(following, pieces)] = following
                    yield pieces[k], self._result(future)
        finally:
            if running:
                self.client.cancel(list(running), force=True)
            if told is not None:
                self.client.unsubscribe_topic(TOPIC)

    def _submitted(self, k: int, pieces: Sequence[Any]) -> Any:
        return self.client.submit(_task, self.function, self.given, k, pieces[k], pure=False)

    def _finished(self, running: Iterable[Any]) -> Collection[Any]:
        """Those that are done, at least one: waits for it as long as there are workers."""
        import distributed

        last_seen = time.monotonic()
        while True:
            try:
                with self.client.as_current():
                    done = distributed.wait(list(running), timeout=LOOK_S, return_when="FIRST_COMPLETED").done
                return done
            except TimeoutError:
                if self.client.nthreads():
                    last_seen = time.monotonic()
                elif time.monotonic() - last_seen > PATIENCE_S:
                    raise InputError(
                        f"scheduler {self.scheduler!r}: all workers of the cluster are gone, none "
                        f"came back within {PATIENCE_S:g} s; expected at least one. Start some and call "
                        "again; what was finished is kept"
                    ) from None

    def _result(self, future: Any) -> Any:
        """What came of a piece; what it raised is raised here."""
        from distributed import KilledWorker

        try:
            return future.result()
        except KilledWorker:
            return Died(RETRIES + 1)
        except CancelledError:
            raise InputError(
                f"scheduler {self.scheduler!r}: the cluster's scheduler is gone; start it and call again; "
                "what was finished is kept"
            ) from None


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
