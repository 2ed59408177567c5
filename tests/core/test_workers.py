"""Work on several cores: its results, that a dying worker costs nothing, and that nothing is left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from pathlib import Path

import pytest
from pool_pieces import add, deadly, refuses

from bodyfit.core.workers import processes
from bodyfit.core.workers.pool import results_of, worker_pool
from bodyfit.core.workers.work import Died, WorkerDiedError
from bodyfit.errors import InputError

WAITS = """
import os, sys, time
from pathlib import Path
from bodyfit.core.workers.pool import worker_pool

def waits(folder, piece, tell):
    mark = Path(folder) / f"{os.getpid()}"
    mark.touch()
    try:
        time.sleep(60)
    finally:
        mark.unlink()

if __name__ == "__main__":
    with worker_pool(waits, sys.argv[1], 2) as pool:
        list(pool.run([1, 2]))
"""


@pytest.fixture(scope="module")
def cluster():
    """The address of a Dask cluster of two worker processes on this machine."""
    distributed = pytest.importorskip(
        "distributed", reason="clusters need Dask: pip install 'bodyfit[cluster]'"
    )
    import dask

    tests = str(Path(__file__).resolve().parent)
    quiet = {"distributed.worker.daemon": False, "distributed.logging.distributed": "error"}
    paths = os.pathsep.join([tests, str(Path(tests).parent)])
    with (
        dask.config.set(quiet),
        distributed.LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            dashboard_address="127.0.0.1:0",
            silence_logs=50,
            env={"PYTHONPATH": paths},
        ) as local,
    ):
        yield local.scheduler_address


def test_every_piece_comes_back_with_what_came_of_it():
    for jobs in (1, 2):
        with worker_pool(add, 10, jobs) as pool:
            assert sorted(pool.run([1, 2, 3])) == [(1, 11), (2, 12), (3, 13)]


@pytest.mark.parametrize("jobs", [1, 2])
def test_pieces_tell_of_their_progress(jobs):
    said = []
    with worker_pool(add, 10, jobs) as pool:
        list(pool.run([1], lambda *words: said.append(words)))
    assert said == [(1, 1, 3, "adding")]


def test_a_worker_that_dies_once_costs_nothing(tmp_path):
    with worker_pool(deadly, str(tmp_path), 2) as pool:
        found = dict(pool.run(["a", "once", "b", "c"]))
    assert found == {"a": "A", "once": "ONCE", "b": "B", "c": "C"}


def test_a_piece_that_kills_its_workers_is_named_and_spares_the_others(tmp_path):
    with worker_pool(deadly, str(tmp_path), 2) as pool:
        found = dict(pool.run(["a", "always", "b", "c"]))
    assert found == {"a": "A", "always": Died(3), "b": "B", "c": "C"}
    begun = Counter(path.name.split("-")[0] for path in tmp_path.iterdir())
    assert begun["always"] == 3


def test_a_single_job_apart_outlives_its_worker(tmp_path):
    with worker_pool(deadly, str(tmp_path), 1, apart=True) as pool:
        assert dict(pool.run(["always", "b"])) == {"always": Died(3), "b": "B"}


def test_where_no_piece_may_be_lost_the_culprit_is_the_error(tmp_path):
    with (
        pytest.raises(WorkerDiedError, match="always: the process that worked on it died 3 times"),
        worker_pool(deadly, str(tmp_path), 2) as pool,
    ):
        list(results_of(pool.run(["always"])))


def test_an_error_in_a_piece_is_raised():
    with pytest.raises(ValueError, match="piece 1 is no good"), worker_pool(refuses, None, 2) as pool:
        list(pool.run([1]))


def test_a_cluster_gives_the_same_results(cluster):
    said = []
    with worker_pool(add, 10, scheduler=cluster) as pool:
        assert pool.workers == 2
        found = sorted(pool.run(list(range(9)), lambda *words: said.append(words)))
        until = time.monotonic() + 5
        while not said and time.monotonic() < until:
            time.sleep(0.05)
    assert found == [(k, 10 + k) for k in range(9)]
    assert said and said[0][1:] == (said[0][0], 3, "adding")


def test_a_cluster_worker_killed_in_the_middle_costs_nothing(cluster, tmp_path):
    with worker_pool(deadly, str(tmp_path), scheduler=cluster) as pool:
        found = dict(pool.run(["a", "once", "b", "c"]))
    assert found == {"a": "A", "once": "ONCE", "b": "B", "c": "C"}


def test_on_a_cluster_too_the_culprit_is_named(cluster, tmp_path):
    with worker_pool(deadly, str(tmp_path), scheduler=cluster) as pool:
        found = dict(pool.run(["a", "always", "b"]))
    assert found == {"a": "A", "always": Died(3), "b": "B"}
    assert Counter(path.name.split("-")[0] for path in tmp_path.iterdir())["always"] == 3


def test_a_cluster_that_lost_all_its_workers_is_given_up_and_says_so(monkeypatch, tmp_path):
    distributed = pytest.importorskip(
        "distributed", reason="clusters need Dask: pip install 'bodyfit[cluster]'"
    )
    from bodyfit.core.workers import cluster as dask_pool

    monkeypatch.setattr(dask_pool, "LOOK_S", 0.2)
    monkeypatch.setattr(dask_pool, "PATIENCE_S", 0.5)
    with (
        distributed.LocalCluster(
            n_workers=1,
            processes=False,
            threads_per_worker=1,
            dashboard_address="127.0.0.1:0",
            silence_logs=50,
        ) as local,
        pytest.raises(InputError, match=r"all workers of the cluster are gone.* within 0\.5 s"),
        worker_pool(add, 10, scheduler=local.scheduler_address) as pool,
    ):
        local.scale(0)
        until = time.monotonic() + 10
        while pool.client.nthreads() and time.monotonic() < until:
            time.sleep(0.05)
        list(pool.run([1, 2]))


def test_no_cluster_at_an_address_is_a_refusal(monkeypatch):
    pytest.importorskip("distributed", reason="clusters need Dask: pip install 'bodyfit[cluster]'")
    from bodyfit.core.workers import cluster as dask_pool

    monkeypatch.setattr(dask_pool, "CONNECT_S", 0.5)
    with (
        pytest.raises(InputError, match="no Dask scheduler answers"),
        worker_pool(add, 1, scheduler="tcp://127.0.0.1:9"),
    ):
        pass


@pytest.mark.skipif(not hasattr(signal, "pthread_kill"), reason="needs POSIX signals")
@pytest.mark.parametrize(
    ("number", "answer"), [(signal.SIGINT, KeyboardInterrupt), (signal.SIGTERM, SystemExit)]
)
def test_what_ends_us_waits_until_processes_have_started_whichever_thread_hears_it(number, answer):
    def end(*_):
        raise answer

    over, reached, before = threading.Event(), [], signal.signal(number, end)
    listener = threading.Thread(target=over.wait)
    listener.start()
    try:
        with pytest.raises(answer), processes._interrupts_held():
            signal.pthread_kill(listener.ident, number)
            for _ in range(20):  # time for Python to answer in its main thread
                time.sleep(0.005)
            reached.append("end")
        assert reached == ["end"] and signal.getsignal(number) is end
    finally:
        over.set()
        listener.join()
        signal.signal(number, before)


def running(pid: int) -> bool:
    stat = Path(f"/proc/{pid}/stat")
    return stat.exists() and stat.read_text().rpartition(")")[2].split()[0] != "Z"


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")
def test_workers_end_and_tidy_up_when_the_process_that_started_them_is_killed(tmp_path):
    script, pids = tmp_path / "waits.py", tmp_path / "pids"
    pids.mkdir()
    script.write_text(WAITS, encoding="utf-8")
    root = str(Path(__file__).resolve().parents[2])
    parent = subprocess.Popen([sys.executable, script, pids], env={**os.environ, "PYTHONPATH": root})
    until = time.monotonic() + 30
    while len(list(pids.iterdir())) < 2 and time.monotonic() < until:
        time.sleep(0.05)
    workers = [int(path.name) for path in pids.iterdir()]
    assert len(workers) == 2 and all(map(running, workers))
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    until = time.monotonic() + 10
    while any(map(running, workers)) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(map(running, workers))
    assert not list(pids.iterdir())  # each unwound: temporary files go
