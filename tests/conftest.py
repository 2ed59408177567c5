"""Where the recordings lie, and fits of the demo captures, each made once for all tests of a run."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Callable
from pathlib import Path

import pytest

# A thread a worker, as in .ci/run: small matrices lose more than they gain by threads. Before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

ROOT = Path(__file__).resolve().parents[1]
RECORDINGS = ROOT.parent / "shared" / "data"


@pytest.fixture(scope="session")
def recordings() -> Path:
    """The folder of recordings, or a skip that says what is missing."""
    if not RECORDINGS.is_dir():
        pytest.skip(
            f"the recordings are not here (expected beside the repository, in {RECORDINGS.parent.name}/data)"
        )
    return RECORDINGS


@pytest.fixture(scope="session")
def fitted_demo(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Folder of a whole demo capture by its name, fitted and reviewed by the command; only to be read.

    The first worker that asks makes it, the others wait: they share the folder above their own.
    """
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own

    def folder(name: str) -> Path:
        out, done = shared / f"fitted_{name}", shared / f"fitted_{name}.done"
        with (shared / f"fitted_{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not done.exists():
                _command("fit", ROOT / "demo_captures" / name, "--out", out)
                _command("review", out)
                done.touch()
        return out

    return folder


def _command(*words: str | Path) -> None:
    from click.testing import CliRunner

    from bodyfit.commands.main import main

    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == 0, result.output
