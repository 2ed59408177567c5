"""Tables of TOML files: what each getter takes, and how it refuses the rest, by file and key."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bodyfit.errors import InputError
from bodyfit.files.plain.toml_reader import TomlTable

NUMBERS = {"size": 2.5, "at": [1, 2, 3], "off": -1, "yes": True}
VALUES = {**NUMBERS, "name": "thigh", "blank": " ", "words": ["a", "b"]}
TABLE = TomlTable(VALUES, Path("setup.toml"), "units.x")


def test_values_come_as_what_they_are():
    assert (TABLE.text("name"), TABLE.number("size"), TABLE.positive("size")) == ("thigh", 2.5, 2.5)
    np.testing.assert_array_equal(TABLE.numbers("at", 3, "m"), [1.0, 2.0, 3.0])
    assert TABLE.texts("words", 2) == ["a", "b"] and TABLE.choice("name", ["thigh", "calf"]) == "thigh"
    assert "size" in TABLE and "no" not in TABLE


def test_what_is_not_there_is_none():
    assert (
        TABLE.text("no") is TABLE.number("no") is TABLE.numbers("no", 3, "") is TABLE.texts("no", 2) is None
    )
    assert TABLE.names("no", ["a"]) == []


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda t: t.text("size"), "size: found 2.5; expected text in quotes"),
        (lambda t: t.text("blank"), "blank: found .*; expected text in quotes"),
        (lambda t: t.number("name"), "name: found 'thigh'; expected a number"),
        (lambda t: t.number("yes"), "yes: found .*; expected a number"),
        (lambda t: t.positive("off"), "off: found -1; expected a number above 0"),
        (lambda t: t.numbers("at", 2, "m"), "at: found .*; expected a list of 2 numbers, m"),
        (lambda t: t.numbers("at", 3, "m", largest=2.0), "at: .* 3 numbers of size 2 at most"),
        (lambda t: t.texts("words", 3), "words: .*3 different names"),
        (lambda t: t.names("words", ["a", "c"]), "words: found 'b'"),
        (lambda t: t.choice("name", ["thight"]), "name: found 'thigh'; expected .*did you mean 'thight'"),
        (lambda t: t.only(["nane", *NUMBERS]), "name: unknown key 'name'; expected .*did you mean 'nane'"),
        (lambda t: t.missing("no", "a list"), "no: this key is missing; expected a list"),
    ],
)  # fmt: skip
def test_another_kind_is_refused_by_file_and_key(ask, said):
    with pytest.raises(InputError, match=rf"setup\.toml: units\.x\.{said}"):
        ask(TABLE)
