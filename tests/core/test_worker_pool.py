"""Work on several cores: its results, and that nothing is left when whoever asked for it is killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bodyfit.core.worker_pool import side_by_side

WAITS = """
import os, sys, time
from pathlib import Path
from bodyfit.core.worker_pool import side_by_side

def waits(folder, piece):
    (Path(folder) / f"{os.getpid()}").touch()
    time.sleep(60)

if __name__ == "__main__":
    with side_by_side(waits, sys.argv[1], 2) as run:
        list(run([1, 2]))
"""


def add(given: int, piece: int) -> int:
    return given + piece


def test_every_piece_comes_back_with_what_came_of_it():
    for jobs in (1, 2):
        with side_by_side(add, 10, jobs) as run:
            assert sorted(run([1, 2, 3])) == [(1, 11), (2, 12), (3, 13)]


def running(pid: int) -> bool:
    stat = Path(f"/proc/{pid}/stat")
    return stat.exists() and stat.read_text().rpartition(")")[2].split()[0] != "Z"


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")
def test_workers_end_when_the_process_that_started_them_is_killed(tmp_path):
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
