"""The tables of a capture, each read once, in the dialect that setup.toml says."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path

from ...core.findings import Finding
from ...errors import InputError
from ..plain.dialect import DECIMALS, SEPARATORS, Dialect
from ..plain.tables import Table, read_table
from ..plain.toml_reader import TomlTable

MOST_SKIPPED = 10_000  # lines before a header; preambles are some ten (by reasoning)
DIALECT_KEYS = ("separator", "decimal", "skip_rows")
TRIAL = "{trial}"  # in the name of a table: stands for the name of each trial
TABLE_KEYS = ("table", *DIALECT_KEYS, "time", "sampling_frequency")


@dataclass
class TableShelf:
    """Tables already read, so that several units may share one file; and what was repaired in reading."""

    folder: Path
    read: dict[tuple[Path, Dialect], Table] = field(default_factory=dict)
    paths: set[Path] = field(default_factory=set)  # of all that were read, those that were let go, too
    notes: list[Finding] = field(default_factory=list)
    starts: dict[str, int | None] = field(default_factory=dict)  # unit -> microseconds since 1970
    trial: str | None = None

    def of_trial(self, name: str) -> TableShelf:
        """The shelf for one trial, with notes and starts of its own."""
        return TableShelf(self.folder, self.read, self.paths, trial=name)

    def keep(self, names: Collection[str]) -> None:
        """Lets tables go but those of some names: an hour of them is large."""
        kept = {self._path(name) for name in names}
        for key in [key for key in self.read if key[0] not in kept]:
            del self.read[key]

    @property
    def bytes_on_disk(self) -> int:
        """Of all tables that were read."""
        return sum(path.stat().st_size for path in self.paths)

    @property
    def sha256(self) -> dict[str, str]:
        """Name of each table that was read -> its checksum, in hexadecimal digits."""
        return {self._name(path): sha256_of(path) for path in sorted(self.paths)}

    def _name(self, path: Path) -> str:
        inside = path.is_relative_to(self.folder)
        return (path.relative_to(self.folder) if inside else path).as_posix()

    def table(self, name: str, dialect: Dialect) -> Table:
        """The table of that name in the folder."""
        key = self._path(name), dialect
        if key not in self.read:
            self.read[key] = read_table(*key)
            self.paths.add(key[0])
        return self.read[key]

    def _path(self, name: str) -> Path:
        """Where a table is."""
        if TRIAL in name:
            if self.trial is None:
                raise InputError(
                    f"{self.folder / name}: stands for a table a trial, but no trials are named; expected "
                    f'trials = ["…", …] in setup.toml, or the name of one table'
                )
            name = name.replace(TRIAL, self.trial)
        return self.folder / name


def sha256_of(path: Path) -> str:
    """Checksum of a file's bytes, in hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def dialect_of(setup: TomlTable) -> Dialect:
    """What the keys of a unit, or of a sensor with a table of its own, say of how the table is written."""
    if (
        skip := setup.number("skip_rows", 0, MOST_SKIPPED, "a count of lines, 0 or more")
    ) is not None and skip % 1:
        setup.mismatch("skip_rows", "a count of lines, 0 or more")
    separator = setup.values.get("separator")
    if separator is not None and separator not in SEPARATORS:
        setup.mismatch("separator", f"one of {', '.join(map(repr, SEPARATORS))}")
    decimal = setup.choice("decimal", DECIMALS)
    if decimal == "," and separator == ",":
        setup.refuse("decimal", "found a comma for cells and decimals both; expected two different signs")
    return Dialect(separator, decimal, None if skip is None else int(skip))
