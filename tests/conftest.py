"""Where the recordings lie, for tests that measure against them; they are no part of this repository."""

from __future__ import annotations

from pathlib import Path

import pytest

RECORDINGS = Path(__file__).resolve().parents[2] / "shared" / "data"


@pytest.fixture(scope="session")
def recordings() -> Path:
    """The folder of recordings, or a skip that says what is missing."""
    if not RECORDINGS.is_dir():
        pytest.skip(
            f"the recordings are not here (expected beside the repository, in {RECORDINGS.parent.name}/data)"
        )
    return RECORDINGS
