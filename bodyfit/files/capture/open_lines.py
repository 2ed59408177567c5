"""Lines of a drafted setup.toml that nobody has filled in yet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from ...errors import InputError
from ..model.model_file import model_names
from ..plain.toml_reader import TomlTable
from .sensor_samples import SENSOR_UNITS
from .time_stamps import TIME_WORDS

OPEN = "?"
FREE_TEXT = ("title", "source")


def refuse_open(setup: TomlTable) -> None:
    """Refuses a setup.toml in which a value is still "?".

    Raises
    ------
    InputError
        Names every such key, with the words that it may hold.
    """
    lines = [f"{key} ({_allowed(key)})" for key in _open(setup.values, "")]
    if lines:
        raise InputError(f'{setup.file}: still "{OPEN}", to be filled in: {"; ".join(lines)}')


def _open(values: Mapping[str, Any], before: str) -> Iterator[str]:
    """Dotted keys whose value is open."""
    for key, value in values.items():
        if value == OPEN and key not in FREE_TEXT:
            yield before + key
        elif isinstance(value, Mapping):
            yield from _open(value, f"{before}{key}.")


def _allowed(dotted: str) -> str:
    """What a key may hold."""
    *_, parent, key = ["", *dotted.split(".")]
    if key == "unit" and parent in (*SENSOR_UNITS, "time"):
        return f"one of {', '.join(TIME_WORDS if parent == 'time' else SENSOR_UNITS[parent])}"
    if key == "model":
        return f"one of {', '.join(model_names())}"
    kinds = {
        "segment": "a segment of the body model; without the line, --assign auto finds it",
        "sampling_frequency": "samples a second, such as 100.0",
    }
    return kinds.get(key, "see docs/capture.md")
