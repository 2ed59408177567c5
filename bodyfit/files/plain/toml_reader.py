"""A table of a TOML file that knows where it stands, so that a wrong key or value is refused by name."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from ...errors import InputError, suggest


@dataclass(frozen=True, eq=False)
class TomlTable:
    """Keys and values of one TOML table, with the file and the dotted key that they stand under.

    Every getter returns None when the key is absent, and raises InputError when its value is of another
    kind; `missing` refuses a required key that is absent.
    """

    values: Mapping[str, Any]
    file: Path
    key: str = ""

    def __contains__(self, key: str) -> bool:
        return key in self.values

    def dotted(self, key: str) -> str:
        """Full name of a key, e.g. `units.thigh_unit.table`."""
        return f"{self.key}.{key}" if self.key else key

    def refuse(self, key: str, text: str) -> NoReturn:
        """Raise InputError about a key of this table."""
        raise InputError(f"{self.file}: {self.dotted(key)}: {text}")

    def mismatch(self, key: str, expected: str) -> NoReturn:
        """Raise InputError about a key whose value is not what was expected."""
        self.refuse(key, f"found {shown(self.values[key])}; expected {expected}")

    def missing(self, key: str, expected: str) -> NoReturn:
        """Raise InputError about a required key that is absent."""
        self.refuse(key, f"this key is missing; expected {expected}")

    def only(self, known: Iterable[str]) -> None:
        """Refuse the first key that is not known; `source` may stand in any table."""
        known = [*known, "source"]
        for key in self.values:
            if key not in known:
                self.refuse(key, f"unknown key {key!r}; {suggest(key, known)}")

    def text(self, key: str) -> str | None:
        """Text that is not blank."""
        value = self.values.get(key)
        if value is not None and (not isinstance(value, str) or not value.strip()):
            self.mismatch(key, "text in quotes")
        return value

    def number(self, key: str, low: float = -math.inf, high: float = math.inf, what: str = "a number"):
        """Finite number in [low, high]; `what` tells the user what it is."""
        value = self.values.get(key)
        if value is None:
            return None
        if not is_number(value) or not low <= value <= high:
            self.mismatch(key, what)
        return float(value)

    def positive(self, key: str, what: str = "a number above 0") -> float | None:
        """Finite number above zero."""
        return self.number(key, low=math.ulp(0.0), what=what)

    def numbers(self, key: str, count: int, what: str) -> np.ndarray | None:
        """(count,) array of finite numbers."""
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != count or not all(map(is_number, value)):
            self.mismatch(key, f"a list of {count} numbers, {what}")
        return np.array(value, float)

    def texts(self, key: str, count: int) -> list[str] | None:
        """List of `count` different texts."""
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, list) or not all(isinstance(v, str) and v for v in value):
            self.mismatch(key, f"a list of {count} texts in quotes")
        if len(value) != count or len(set(value)) != count:
            self.mismatch(key, f"{count} different names")
        return value

    def names(self, key: str, allowed: Iterable[str]) -> list[str]:
        """List of names, each one of the allowed ones; empty where the key is not there."""
        value, allowed = self.values.get(key, []), list(allowed)
        if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
            self.mismatch(key, "a list of names in quotes")
        for name in value:
            if name not in allowed:
                self.refuse(key, f"found {name!r}; {suggest(name, allowed)}")
        return value

    def choice(self, key: str, allowed: Iterable[str]) -> str | None:
        """One of the allowed words."""
        value, allowed = self.text(key), list(allowed)
        if value is not None and value not in allowed:
            self.refuse(key, f"found {value!r}; {suggest(value, allowed)}")
        return value

    def moment(self, key: str) -> datetime | None:
        """Date and time."""
        value = self.values.get(key)
        if value is not None and not isinstance(value, datetime):
            self.mismatch(key, "a date and time without quotes, as in 2026-03-01T10:00:00Z")
        return value

    def table(self, key: str) -> TomlTable | None:
        """The table under a key."""
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.mismatch(key, "a table: [section] or { key = value }")
        return TomlTable(value, self.file, self.dotted(key))

    def tables(self, key: str) -> dict[str, TomlTable]:
        """Name -> table, of tables such as [units.left] and [units.right]; names fit for column names."""
        outer = self.table(key)
        if outer is None:
            return {}
        for name in outer.values:
            if not re.fullmatch(r"[\w-]+", name):
                outer.refuse(name, f"the name {name!r} is not usable; expected letters, digits, _ and -")
        return {name: inner for name in outer.values if (inner := outer.table(name)) is not None}

    def tables_of(self, known: Iterable[str]) -> dict[str, TomlTable]:
        """Name -> table, of tables whose names are among the known ones."""
        known = list(known)
        self.only(known)
        return {name: inner for name in known if (inner := self.table(name)) is not None}

    def list_of_tables(self, key: str) -> list[TomlTable]:
        """Tables of an array such as [[calibration]]."""
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            self.mismatch(key, f"[[{self.dotted(key)}]] tables")
        return [TomlTable(v, self.file, f"{self.dotted(key)}[{k + 1}]") for k, v in enumerate(value)]


def read_toml(path: Path) -> TomlTable:
    """The whole of a TOML file.

    Raises
    ------
    InputError
        The file is missing, unreadable, not UTF-8 or not TOML (line and column are named).
    """
    try:
        return TomlTable(tomllib.loads(path.read_text(encoding="utf-8-sig")), path)
    except FileNotFoundError:
        raise InputError(f"{path}: no such file") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: not valid TOML: {error}; correct that line") from None
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8 text") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None


def is_number(value: object) -> bool:
    """Whether a TOML value is a finite number (true and false are not)."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def shown(value: object) -> str:
    """Value much as it would stand in the file, cut when long."""
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
