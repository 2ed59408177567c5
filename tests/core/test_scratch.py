"""Large arrays on the disk: like any other, and out of memory when let go."""

from __future__ import annotations

import os
import sys
import tempfile
from weakref import WeakSet

import numpy as np
import pytest

from bodyfit.core.arrays import scratch
from bodyfit.core.arrays.scratch import LARGE_BYTES, column, copied, give_back, kept_together, let_go, room
from bodyfit.core.arrays.scratch import _on_disk as owner
from bodyfit.errors import OutputError

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


@linux
def test_without_room_on_the_disk_or_in_memory_it_is_refused(monkeypatch):
    def full(*given):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "posix_fallocate", full)
    monkeypatch.setattr(scratch, "_memory_free", lambda: 1e6)
    with pytest.raises(OutputError) as refused:
        room(LARGE)
    told = str(refused.value)
    assert tempfile.gettempdir() in told and "8 MB" in told and "No space left on device" in told
    assert "TMPDIR" in told


@linux
def test_free_memory_is_told():
    assert 1e6 < scratch._memory_free() < 1e15


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
    array[:] = 1.0
    held = [np.ones(10_000) for _ in range(2000)]  # some 150 MB in pieces, with holes once every other goes
    holes, before = held[::2], resident()
    del held[::2]
    del holes
    give_back()
    assert resident() < before - 60e6
    assert (array == 1.0).all()


def test_where_nothing_lies_on_the_disk_no_memory_is_given_back(monkeypatch):
    monkeypatch.setattr(scratch, "_owners", WeakSet())
    monkeypatch.setattr(scratch, "_malloc_trim", lambda: pytest.fail("a short capture is in no need of it"))
    give_back()


@linux
def test_all_that_lies_on_the_disk_leaves_memory_at_once():
    arrays = [room(LARGE) for _ in range(3)]
    for array in arrays:
        array[:] = 1.0
    held = resident()
    give_back()
    assert held - resident() > 2.5 * arrays[0].nbytes


@linux
def test_arrays_that_are_large_together_are_kept_on_the_disk():
    rng = np.random.default_rng(0)
    small = {"a": rng.normal(size=(LARGE[0], 40)), "b": rng.normal(size=(LARGE[0], 3, 25))}
    assert all(values.nbytes < LARGE_BYTES for values in small.values())
    kept = kept_together(small)
    assert all(owner(values) is not None and (values == small[name]).all() for name, values in kept.items())
    again = kept_together(kept)
    assert all(again[name] is values for name, values in kept.items())
    alone = kept_together({"a": small["a"]})
    assert alone["a"] is small["a"]


def test_a_column_is_a_copy():
    array = np.arange(scratch.ROWS * 12.0).reshape(-1, 2, 3)  # two rounds
    own = column(array, 1)
    assert (own == array[:, 1]).all() and not np.shares_memory(own, array)
