"""Values, and files with some of them in place of their own, as hypothesis draws and shrinks them."""

from __future__ import annotations

import json
import math
from typing import Any

from hypothesis import strategies as st
from mutators import CELLS, VALUES

PLAIN = st.one_of(
    st.booleans(),
    st.integers(-(2**70), 2**70),
    st.floats(),
    st.text(max_size=12),
    st.sampled_from((0, 1, -1, 1e308, "x", "", "deg/s", "2026-03-01")),
)
TREES = st.recursive(
    PLAIN,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


def as_toml(value: Any) -> str:
    """The value as TOML 1.0 writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and not math.isfinite(value):
        return "nan" if math.isnan(value) else "inf" if value > 0 else "-inf"
    if isinstance(value, list):
        return f"[{', '.join(map(as_toml, value))}]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {as_toml(v)}" for k, v in value.items()) + " }"
    return json.dumps(value)


@st.composite
def toml_files(draw: Any, sound: bytes) -> bytes:
    """A TOML file in which some keys have another value."""
    lines = sound.decode().splitlines()
    with_value = [k for k, line in enumerate(lines) if " = " in line]
    for at in draw(st.lists(st.sampled_from(with_value), min_size=1, max_size=3, unique=True)):
        value = draw(TREES.map(as_toml) | st.sampled_from(VALUES))
        lines[at] = f"{lines[at].partition(' = ')[0]} = {value}"
    return "\n".join(lines).encode(errors="replace")


@st.composite
def json_files(draw: Any, sound: bytes) -> bytes:
    """A JSON file in which one value, at any depth, is another."""
    whole = inner = json.loads(sound)
    while True:
        key = draw(st.sampled_from(sorted(inner) if isinstance(inner, dict) else range(len(inner))))
        below = inner[key]
        if not (isinstance(below, dict | list) and below) or draw(st.integers(0, 5)) == 0:
            inner[key] = draw(st.none() | TREES)
            return json.dumps(whole).encode()
        inner = below


@st.composite
def tables(draw: Any, sound: bytes) -> bytes:
    """A table in which one column holds something else from a row on, or in one row."""
    rows = [line.split(",") for line in sound.decode().splitlines()]
    column, first = draw(st.integers(0, len(rows[0]) - 1)), draw(st.integers(0, len(rows) - 1))
    last = draw(st.sampled_from((first + 1, len(rows))))
    cell = draw(st.sampled_from(CELLS) | st.floats().map(str) | st.text(max_size=8))
    for row in rows[first:last]:
        row[column] = cell
    return "\n".join(map(",".join, rows)).encode(errors="replace")


FILES = {"setup": toml_files, "model": toml_files, "script": toml_files, "table": tables, "angles": tables,
         "summary": json_files}  # fmt: skip
