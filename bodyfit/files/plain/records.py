"""Frozen dataclasses as plain data for JSON, and back, by their types.

A field's name is its key. A field without a default always stands in the file; one with a default is left
out while it holds it. The fields of a group (`results.kinds.BESIDE`) stand beside those of its owner, all or
none. What is not finite is written as null.
"""

from __future__ import annotations

import dataclasses
import math
import types
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal, NoReturn, TypeVar, Union, get_args, get_origin, get_type_hints

from ...errors import InputError, suggest
from ...results.kinds import BESIDE

T = TypeVar("T")
WORDS = {float: "a number", int: "a whole number", str: "text", bool: "true or false", type(None): "null"}


@dataclass(frozen=True)
class Place:
    """Where a value stands: file and key, and what to do when it is wrong."""

    file: Path
    advice: str
    key: str = ""

    def of(self, key: str) -> Place:
        """The place of a key inside this one."""
        return Place(self.file, self.advice, f"{self.key}.{key}" if self.key else key)

    def at(self, index: int) -> Place:
        """The place of an entry of the list here."""
        return Place(self.file, self.advice, f"{self.key}[{index}]")

    def refuse(self, text: str) -> NoReturn:
        """Raises InputError about what stands here."""
        key = f" {self.key}:" if self.key else ""
        raise InputError(f"{self.file}:{key} {text}. {self.advice}")


def as_plain(value: Any) -> Any:
    """Dataclasses, mappings and tuples as JSON knows them.

    Parameters
    ----------
    value : of dataclasses, mappings, tuples, numbers, text, None

    Returns
    -------
    dicts, lists, numbers, text, None
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        out = {}
        for field in dataclasses.fields(value):
            one = getattr(value, field.name)
            if field.metadata == BESIDE:
                out |= {} if one is None else as_plain(one)
            elif field.default is dataclasses.MISSING or one != field.default:
                out[field.name] = as_plain(one)
        return out
    if isinstance(value, Mapping):
        return {str(key): as_plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [as_plain(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def from_plain(kind: type[T], value: Any, place: Place) -> T:
    """The object whose plain data this is.

    Parameters
    ----------
    kind : a dataclass, or another type that its fields may have
    value : from JSON
    place : where it stands

    Raises
    ------
    InputError
        A key is missing or not known, or a value is of another kind; names file and key.
    """
    return _read(kind, value, place)


def _read(kind: Any, value: Any, place: Place) -> Any:
    """The value as a type; the types that fields of dataclasses here have."""
    origin, inner = get_origin(kind), get_args(kind)
    if kind is Any:
        return value
    if dataclasses.is_dataclass(kind):
        return _record(kind, _object(value, place), place)
    if origin in (Union, types.UnionType):
        some = [option for option in inner if option is not type(None)]
        return None if value is None and len(some) < len(inner) else _read(some[0], value, place)
    if origin is Literal:
        return value if value in inner else place.refuse(f"found {_shown(value)}; {suggest(value, inner)}")
    if origin is tuple:
        return _tuple(inner, value, place)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {key: _read(inner[1], one, place.of(key)) for key, one in _object(value, place).items()}
    return _scalar(kind, value, place)


def _record(kind: Any, values: Mapping[str, Any], place: Place) -> Any:
    """A dataclass from an object whose keys are all known."""
    known = keys(kind)
    for key in values:
        if key not in known:
            place.of(key).refuse(f"unknown key {key!r}; {suggest(key, known)}")
    return _fields(kind, values, place)


def _fields(kind: Any, values: Mapping[str, Any], place: Place) -> Any:
    """A dataclass from those of the keys that are its own."""
    hints, out = _hints(kind), {}
    for field in dataclasses.fields(kind):
        if field.metadata == BESIDE:
            group = next(option for option in get_args(hints[field.name]) if option is not type(None))
            if any(key in values for key in keys(group)):
                out[field.name] = _fields(group, values, place)
        elif field.name in values:
            out[field.name] = _read(hints[field.name], values[field.name], place.of(field.name))
        elif field.default is dataclasses.MISSING:
            place.of(field.name).refuse("this key is missing")
    try:
        return kind(**out)
    except ValueError as error:  # what the class itself refuses
        place.refuse(str(error))


def keys(kind: Any) -> tuple[str, ...]:
    """Keys that a dataclass has in a file, those of its groups included.

    Parameters
    ----------
    kind : a dataclass

    Returns
    -------
    names, in the order of its fields
    """
    out: list[str] = []
    for field in dataclasses.fields(kind):
        if field.metadata == BESIDE:
            (group,) = (o for o in get_args(_hints(kind)[field.name]) if o is not type(None))
            out += keys(group)
        else:
            out.append(field.name)
    return tuple(out)


@cache
def _hints(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)


def _tuple(inner: tuple[Any, ...], value: Any, place: Place) -> tuple[Any, ...]:
    """A list as a tuple: of any length and one kind, or of a kind for each place."""
    if not isinstance(value, list):
        place.refuse(f"found {_shown(value)}; expected a list")
    if inner[-1:] == (Ellipsis,):
        inner = (inner[0],) * len(value)
    elif len(value) != len(inner):
        place.refuse(f"found {len(value)} entries, expected {len(inner)}")
    return tuple(
        _read(kind, one, place.at(i)) for i, (kind, one) in enumerate(zip(inner, value, strict=True))
    )


def _object(value: Any, place: Place) -> Mapping[str, Any]:
    return (
        value if isinstance(value, dict) else place.refuse(f"found {_shown(value)}; expected an object {{…}}")
    )


def _scalar(kind: Any, value: Any, place: Place) -> Any:
    """A number, text or truth value of exactly that kind; a whole number counts as a number."""
    if kind is float and type(value) is int:
        return _finite(value, place)
    if type(value) is not kind:
        place.refuse(f"found {_shown(value)}; expected {WORDS[kind]}")
    return _finite(value, place) if kind is float else value


def _finite(value: Any, place: Place) -> float:
    """The number as float; Python's reader of JSON lets whole numbers of any size, NaN and Infinity pass."""
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    return (
        number if math.isfinite(number) else place.refuse(f"found {_shown(value)}; expected a finite number")
    )


def _shown(value: Any) -> str:
    """The value much as it stands in the file, cut when long."""
    text = str(value).lower() if isinstance(value, bool) else "null" if value is None else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
