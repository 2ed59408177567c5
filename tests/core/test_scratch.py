"""Large arrays on the disk: like any other, and out of memory when let go."""

from __future__ import annotations

import os
import sys
import tempfile

import numpy as np
import pytest

from bodyfit.core.arrays import scratch
from bodyfit.core.arrays.scratch import LARGE_BYTES, copied, give_back, let_go, room

LARGE = (LARGE_BYTES // 800 + 1, 100)  # just above the threshold, of floats
linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="in memory elsewhere")


def resident() -> int:
    """Bytes of this process that are in memory."""
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE")


@linux
def test_what_is_let_go_leaves_memory_and_keeps_its_values():
    array = room(LARGE)
    array[:] = np.arange(LARGE[0])[:, None]
    held = resident()
    let_go(array[5:, 2])  # a view of it will do
    assert held - resident() > 0.9 * array.nbytes
    assert (array == np.arange(LARGE[0])[:, None]).all()
    array[7] = -1.0
    let_go(array)
    assert (array[7] == -1.0).all() and (array[8] == 8.0).all()


@linux
def test_no_file_is_left(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    array = room(LARGE)
    assert not isinstance(array.base, type(None))
    assert not list(tmp_path.iterdir())


def test_a_small_array_stays_in_memory():
    array = room((3, 4), int)
    array[:] = 7
    let_go(array, None)
    assert array.base is None and array.dtype == int and (array == 7).all()


@linux
def test_without_room_on_the_disk_it_is_in_memory(monkeypatch):
    def full(*given):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "posix_fallocate", full)
    assert room(LARGE).base is None


def test_elsewhere_it_is_in_memory(monkeypatch):
    monkeypatch.delattr(scratch.mmap, "MADV_DONTNEED", raising=False)
    assert room(LARGE).base is None


def test_a_copy_is_its_own():
    array = room(LARGE)
    array[:] = np.arange(LARGE[0])[:, None]
    other = copied(array)
    array[:] = 0.0
    assert (other == np.arange(LARGE[0])[:, None]).all()


@linux
def test_memory_that_was_freed_is_given_back():
    array = room(LARGE)
    held = [np.ones(10_000) for _ in range(2000)]  # some 150 MB in pieces, with holes once every other goes
    holes, before = held[::2], resident()
    del held[::2]
    del holes
    give_back(None, np.zeros(3))
    assert resident() > before - 20e6  # nothing was large
    give_back(array)
    assert resident() < before - 60e6
