"""Hashes by which what was kept of an earlier run is known again."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from ..version import __version__


def fingerprint(*values: object) -> str:
    """A hash of everything that a result depends on: arrays, plain values, dataclasses; hexadecimal.

    Fields of a dataclass that do not count when two are compared do not count here.
    """
    digest = hashlib.sha256(__version__.encode())
    for value in values:
        _feed(digest, value)
    return digest.hexdigest()


def _feed(digest: Any, value: object) -> None:
    """Takes a value in, with its type, so that none runs into the next."""
    digest.update(type(value).__name__.encode() + b"(")
    if isinstance(value, Rotation):
        _feed(digest, value.as_quat())
    elif isinstance(value, np.ndarray) and value.dtype != object:
        digest.update(repr((value.dtype.str, value.shape)).encode() + np.ascontiguousarray(value).tobytes())
    elif dataclasses.is_dataclass(value):
        _feed(digest, {f.name: getattr(value, f.name) for f in dataclasses.fields(value) if f.compare})
    elif isinstance(value, Mapping):
        _feed(digest, [part for item in value.items() for part in item])
    elif isinstance(value, (set, frozenset)):
        _feed(digest, sorted(value))
    elif isinstance(value, (list, tuple, np.ndarray)):
        for part in value:
            _feed(digest, part)
    else:
        digest.update(repr(value).encode())
    digest.update(b")")
