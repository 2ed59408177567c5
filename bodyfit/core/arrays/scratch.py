"""Large arrays on the disk instead of in memory, so that memory does not grow with a capture's length.

A file without a name in the system's temporary folder (`TMPDIR` chooses it) stands behind each; it goes when
the array goes, however the program ends. The array is like any other: what is touched of it is in memory
until it is let go, what was let go is read again when it is touched. On Linux; elsewhere, and where the disk
has no room, arrays are in memory.
"""

from __future__ import annotations

import math
import mmap
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any
from weakref import WeakSet

import numpy as np

from ...errors import OutputError

LARGE_BYTES = 8 * 2**20  # from which an array goes to the disk: some 3 min of 15 units; chosen; not tried
MEGABYTE = 1e6  # bytes, by definition
ROWS = 16_384  # worked on at once: one unit's three minutes; chosen; not tried

_owners: WeakSet[mmap.mmap] = WeakSet()  # of all arrays on the disk


def room(shape: tuple[int, ...], dtype: Any = float) -> np.ndarray:
    """An array to be filled, on the disk where it is large.

    Parameters
    ----------
    shape, dtype : of the array

    Returns
    -------
    array, its values not set

    Raises
    ------
    OutputError
        It has room neither on the disk nor in memory.
    """
    size = int(np.prod(shape)) * np.dtype(dtype).itemsize
    if size < LARGE_BYTES or not (hasattr(mmap, "MADV_DONTNEED") and hasattr(os, "posix_fallocate")):
        return np.empty(shape, dtype)
    try:
        with tempfile.TemporaryFile(prefix="bodyfit-") as file:
            os.posix_fallocate(file.fileno(), 0, size)  # a full disk shows here, not when it is written to
            _owners.add(owner := mmap.mmap(file.fileno(), size))
            return np.ndarray(shape, dtype, buffer=owner)
    except OSError as problem:
        if size < _memory_free():
            return np.empty(shape, dtype)
        folder = tempfile.gettempdir()
        free = shutil.disk_usage(folder).free / MEGABYTE
        raise OutputError(
            f"{folder}: found no room for a temporary file of {size / MEGABYTE:.0f} MB ({problem.strerror}; "
            f"{free:.0f} MB are free), and memory is too small for it, too; make room, or name another "
            "folder in the environment variable TMPDIR"
        ) from problem


def copied(array: np.ndarray) -> np.ndarray:
    """The same values in a `room` of their own.

    Parameters
    ----------
    array : any

    Returns
    -------
    array, not in memory where it is large
    """
    out, rows = room(array.shape, array.dtype), max(1, LARGE_BYTES * len(array) // max(1, array.nbytes))
    for start in range(0, len(array), rows):
        out[start : start + rows] = array[start : start + rows]
        let_go(array, out)
    return out


def kept_together(arrays: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """The same arrays in one `room`, where they are large together and not on the disk yet.

    Parameters
    ----------
    arrays : name -> array of float

    Returns
    -------
    name -> array
    """
    loose = {name: values for name, values in arrays.items() if _on_disk(values) is None}
    if sum(values.nbytes for values in loose.values()) < LARGE_BYTES:
        return dict(arrays)
    whole, start, out = room((sum(values.size for values in loose.values()),)), 0, dict(arrays)
    for name, values in loose.items():
        out[name] = whole[start : start + values.size].reshape(values.shape)
        out[name][:] = values
        start += values.size
        let_go(whole)
    return out


def column(array: np.ndarray, index: int) -> np.ndarray:
    """A copy of `array[:, index]` in a `room`, made some rows at a time.

    Parameters
    ----------
    array : (N, n, …)
    index : below n

    Returns
    -------
    (N, …)
    """
    out = room((len(array), *array.shape[2:]), array.dtype)
    for at in rows_at_once(len(array)):
        out[at] = array[at, index]
        let_go(array, out)
    return out


def rows_at_once(count: int) -> Iterator[slice]:
    """Rows of a long array in stretches, for work whose steps would take many times its memory.

    Parameters
    ----------
    count : of rows

    Returns
    -------
    iterator of slices
    """
    for start in range(0, count, ROWS):
        yield slice(start, min(start + ROWS, count))


def let_go(*arrays: np.ndarray | None) -> None:
    """Takes arrays that are on the disk out of memory until they are next touched; all others stay.

    Parameters
    ----------
    arrays : of `room`, views of them, any others, or None
    """
    for array in arrays:
        if (owner := _on_disk(array)) is not None:
            owner.madvise(mmap.MADV_DONTNEED)  # shared with the file: nothing that was written is lost


def give_back() -> None:
    """After a piece of work: all that lies on the disk leaves memory until it is next touched.

    So does memory that was freed, which the C library keeps else, in holes between what is still used
    (`malloc_trim`, glibc). Where nothing lies on the disk, all stays as it is.
    """
    for owner in [*_owners]:
        owner.madvise(mmap.MADV_DONTNEED)
    if _owners and (trim := _malloc_trim()) is not None:
        trim(0)


def _memory_free() -> float:
    """Bytes that the system can still give; infinite where it does not tell."""
    try:
        with open("/proc/meminfo", encoding="ascii") as file:
            told = dict(line.split(":") for line in file)
    except OSError:
        return math.inf
    return 1024.0 * float(told["MemAvailable"].split()[0])  # kB, says the kernel's documentation


@cache
def _malloc_trim() -> Callable[[int], int] | None:
    """The C library's function, or None where it has none."""
    import ctypes

    return getattr(ctypes.CDLL(None), "malloc_trim", None) if os.name == "posix" else None


def _on_disk(array: np.ndarray | None) -> mmap.mmap | None:
    """What holds an array of `room`, or a view of one; None: it is in memory."""
    owner = array
    while isinstance(owner, np.ndarray):
        owner = owner.base
    return owner if isinstance(owner, mmap.mmap) else None
