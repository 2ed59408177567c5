"""Memory hardly grows with the length of a capture: what is large lies on the disk."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[1]
# minutes of an arm with its units; 17 MiB lie between them, 96 when nothing lay on the disk
SHORT, LONG, MOST_MIB = 2, 8, 40
SCRIPT = """
import json, sys
sys.path[:0] = [{benchmarks!r}]
from long_capture import measured
from bodyfit.core.arrays import scratch
from bodyfit.estimator.solver import block_tridiagonal, residual_pieces
scratch.LARGE_BYTES = 2**18  # as a whole body of an hour stands to what goes to the disk
block_tridiagonal.WHOLE_BYTES = block_tridiagonal.CHUNK_BYTES = residual_pieces.KEPT_BYTES = 2e6
print(json.dumps(measured({minutes}, model="right_arm")))
"""


def peak_mib(minutes: int) -> float:
    """The most memory that a fit of so many minutes held; its samples lie on the disk."""
    script = SCRIPT.format(benchmarks=str(TESTS / "benchmarks"), minutes=minutes)
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return json.loads(done.stdout)["peak_bytes"] / 2**20


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="all is in memory elsewhere")
def test_ten_minutes_more_take_little_more_memory():
    assert peak_mib(LONG) - peak_mib(SHORT) < MOST_MIB
