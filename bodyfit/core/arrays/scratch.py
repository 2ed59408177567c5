"""Large arrays on the disk instead of in memory, so that memory does not grow with a capture's length.

A file without a name in the system's temporary folder (`TMPDIR` chooses it) stands behind each; it goes when
the array goes, however the program ends. The array is like any other: what is touched of it is in memory
until it is let go, what was let go is read again when it is touched. On Linux; elsewhere, and where the disk
has no room, arrays are in memory.
"""

from __future__ import annotations

import mmap
import os
import tempfile
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import numpy as np

LARGE_BYTES = 16 * 2**20  # from which an array goes to the disk: some 10 min of 15 units; chosen; not tried
ROWS = 16_384  # worked on at once: one unit's three minutes; chosen; not tried


def room(shape: tuple[int, ...], dtype: Any = float) -> np.ndarray:
    """An array to be filled, on the disk where it is large.

    Parameters
    ----------
    shape, dtype : of the array

    Returns
    -------
    array, its values not set
    """
    size = int(np.prod(shape)) * np.dtype(dtype).itemsize
    if size < LARGE_BYTES or not (hasattr(mmap, "MADV_DONTNEED") and hasattr(os, "posix_fallocate")):
        return np.empty(shape, dtype)
    try:
        with tempfile.TemporaryFile(prefix="bodyfit-") as file:
            os.posix_fallocate(file.fileno(), 0, size)  # a full disk shows here, not when it is written to
            return np.ndarray(shape, dtype, buffer=mmap.mmap(file.fileno(), size))
    except OSError:
        return np.empty(shape, dtype)


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


def give_back(*arrays: np.ndarray | None) -> None:
    """After work on arrays of which one lies on the disk: memory that was freed goes back to the system.

    The C library keeps it else, in holes between what is still used (`malloc_trim`, glibc).

    Parameters
    ----------
    arrays : as of `let_go`
    """
    trim = _malloc_trim() if any(_on_disk(array) is not None for array in arrays) else None
    if trim is not None:
        trim(0)


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
