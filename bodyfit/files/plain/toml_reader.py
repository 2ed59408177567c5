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
from .readable import check_readable

LARGEST, SMALLEST = 1e12, 1e-12  # size of a number: beyond both no key of ours has a use (by reasoning)
MOST_BYTES = 2_000_000  # of a TOML file: 15 units and a whole body take 20 kB; by reasoning
MOST_PARTS = 100  # of a dotted key; tomllib takes time with their square (tried: minutes on 900 000)
LONGEST_NAME = 100  # characters; file names end at 255 bytes, columns add endings (by reasoning)
YEARS = (1900, 2100)  # of a moment; no worn unit is older; by reasoning


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
        """Number above zero, at least SMALLEST."""
        return self.number(key, low=SMALLEST, what=what)

    def numbers(self, key: str, count: int, what: str, largest: float = LARGEST) -> np.ndarray | None:
        """(count,) array of finite numbers, none larger than `largest` in size."""
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != count or not all(map(is_number, value)):
            self.mismatch(key, f"a list of {count} numbers, {what}")
        if max(map(abs, value)) > largest:
            self.mismatch(key, f"{count} numbers of size {largest:g} at most, {what}")
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
        if value is not None and not YEARS[0] <= value.year <= YEARS[1]:
            self.mismatch(key, f"a year of {YEARS[0]} to {YEARS[1]}")
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
            if not re.fullmatch(r"[\w-]+", name) or len(name) > LONGEST_NAME:
                expected = f"expected letters, digits, _ and -, {LONGEST_NAME} at most"
                outer.refuse(name, f"the name {shown(name)} is not usable; {expected}")
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
        The file is missing, unreadable, too large, not UTF-8 or not TOML (line and column are named).
    """
    check_readable(path, MOST_BYTES)
    try:
        text = path.read_text(encoding="utf-8-sig")
        if any(part.count(".") > MOST_PARTS for part in re.split(r"[=,\[\]{}\n]", text)):
            raise InputError(f"{path}: found a key of over {MOST_PARTS} parts; expected three or four")
        return TomlTable(tomllib.loads(text), path)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: not valid TOML: {error}; correct that line") from None
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8 text") from None
    except RecursionError:
        raise InputError(f"{path}: lists or tables inside each other too deep; expected some ten") from None
    except InputError:
        raise
    except ValueError as error:  # such as an integer of more than 4300 digits
        raise InputError(f"{path}: not valid TOML: {error}; correct that value") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None


def is_number(value: object) -> bool:
    """Whether a TOML value is a number of usable size (true, false, nan and infinities are not)."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= LARGEST


def shown(value: object) -> str:
    """Value much as it would stand in the file, cut when long."""
    try:
        text = str(value).lower() if isinstance(value, bool) else repr(value)
    except (RecursionError, ValueError):  # too deep, or an integer of thousands of digits
        text = f"{type(value).__name__} too deep or long to show"
    return text if len(text) <= 60 else f"{text[:57]}..."
