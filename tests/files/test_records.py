"""Dataclasses to plain data and back: what is written, and that nothing wrong is read."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import pytest

from bodyfit.errors import InputError
from bodyfit.files.plain.json_reader import read_json_object
from bodyfit.files.plain.records import Place, as_plain, from_plain, keys
from bodyfit.results.kinds import BESIDE


@dataclass(frozen=True)
class Tyre:
    worn_mm: float | None
    brand: str


@dataclass(frozen=True)
class Bike:
    name: str
    gears: int
    electric: bool
    weight_kg: float
    colour: Literal["red", "blue"]
    axis: tuple[float, float, float]
    trips: tuple[tuple[float, float], ...]
    parts: Mapping[str, Tyre]
    rider: str | None
    front: Tyre | None = field(default=None, metadata=BESIDE)
    basket: str | None = None


PLAIN = Bike("a", 3, True, 12.0, "red", (1.0, 0.0, 0.0), ((1.0, 2.0),), {"rear": Tyre(None, "x")}, None)
WHERE = Place(Path("bike.json"), "Paint it anew", "bike")
DATA = as_plain(PLAIN)


@pytest.mark.parametrize("bike", [PLAIN, Bike(*[*vars(PLAIN).values()][:9], Tyre(1.5, "y"), "wicker")])
def test_what_is_written_is_read_back_through_json(bike):
    text = json.dumps(as_plain(bike), allow_nan=False)
    assert from_plain(Bike, json.loads(text), WHERE) == bike


def test_what_is_not_there_has_no_key_unless_it_always_has_one():
    assert "rider" in DATA and DATA["rider"] is None
    assert not {"front", "basket", "worn_mm", "brand"} & set(DATA)
    with_front = as_plain(Bike(*[*vars(PLAIN).values()][:9], Tyre(1.5, "y")))
    assert with_front["worn_mm"] == 1.5 and with_front["brand"] == "y" and "front" not in with_front
    assert keys(Bike)[-3:] == ("worn_mm", "brand", "basket")


def test_what_is_not_finite_is_written_as_null():
    assert as_plain(Tyre(math.inf, "x")) == {"worn_mm": None, "brand": "x"}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"gears": 2.5}, "bike.gears: found 2.5; expected a whole number"),
        ({"gears": True}, "bike.gears: found true; expected a whole number"),
        ({"gears": None}, "bike.gears: found null; expected a whole number"),
        ({"electric": 1}, "bike.electric: found 1; expected true or false"),
        ({"weight_kg": "12"}, "bike.weight_kg: found '12'; expected a number"),
        ({"weight_kg": math.nan}, "bike.weight_kg: found nan; expected a finite number"),
        ({"weight_kg": 10**400}, "bike.weight_kg: found 1000"),
        ({"name": 3}, "bike.name: found 3; expected text"),
        ({"colour": "rde"}, "bike.colour: found 'rde'; expected one of red, blue; did you mean 'red'"),
        ({"colour": ["red"]}, r"bike.colour: found \['red'\]; expected one of"),
        ({"axis": [1.0, 0.0]}, "bike.axis: found 2 entries, expected 3"),
        ({"axis": "xyz"}, "bike.axis: found 'xyz'; expected a list"),
        ({"axis": [1.0, [], 0.0]}, r"bike.axis\[1\]: found \[\]; expected a number"),
        ({"trips": [[1.0, 2.0], [3.0]]}, r"bike.trips\[1\]: found 1 entries, expected 2"),
        ({"parts": []}, r"bike.parts: found \[\]; expected an object"),
        ({"parts": {"rear": {"brand": "x"}}}, "bike.parts.rear.worn_mm: this key is missing"),
        ({"parts": {"rear": {"brand": "x", "worm_mm": 1}}}, "did you mean 'worn_mm'"),
        ({"worn_mm": 1.0}, "bike.brand: this key is missing"),
    ],
)
def test_a_wrong_value_is_refused_by_file_and_key(change, said):
    with pytest.raises(InputError, match=rf"^bike\.json: .*{said}.*\. Paint it anew$"):
        from_plain(Bike, DATA | change, WHERE)


@pytest.mark.parametrize("key", ["name", "gears", "axis", "parts", "rider"])
def test_a_key_that_always_stands_there_can_not_be_left_out(key):
    with pytest.raises(InputError, match=rf"bike\.{key}: this key is missing"):
        from_plain(Bike, {k: v for k, v in DATA.items() if k != key}, WHERE)


def some(value: Any, depth: int = 0) -> list[Any]:
    """Every data made from this by putting something else in one place, or by taking one place away."""
    others: list[Any] = [None, True, -1, 2.5, "?", [], {}, [[1]], {"a": 1}]
    if isinstance(value, dict):
        inner = [value | {k: new} for k, one in value.items() for new in some(one, depth + 1)]
        return [*others, *inner, *({k: v for k, v in value.items() if k != name} for name in value)]
    if isinstance(value, list):
        return [
            *others,
            *([*value[:i], new, *value[i + 1 :]] for i, one in enumerate(value) for new in some(one)),
        ]
    return others


def test_no_wrong_value_in_any_place_does_more_than_be_refused():
    refused = 0
    for data in some(DATA):
        try:
            assert as_plain(from_plain(Bike, data, WHERE)) == data
        except InputError as error:
            refused += 1
            assert str(error).startswith("bike.json: ")
    assert refused > 150


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"{", "not valid JSON: Expecting"),
        (b"[1]", r"found \[1\], expected an object"),
        (b'{"a": "\xff"}', "not valid JSON: 'utf-8'"),
        (b'{"a": 1, "a": 2}', "not valid JSON: the key 'a' stands there twice"),
        (b'{"a":' * 100_000, "not valid JSON"),
        (b'{"a": ' + b"1" * 5000 + b"}", "not valid JSON"),
    ],
)
def test_a_file_that_is_no_object_is_refused(tmp_path, content, said):
    (tmp_path / "x.json").write_bytes(content)
    with pytest.raises(InputError, match=rf"x\.json: (?s:{said}.*)\. Do it$"):
        read_json_object(tmp_path / "x.json", "Do it")
    with pytest.raises(InputError, match=r"y\.json: no such file. Do it"):
        read_json_object(tmp_path / "y.json", "Do it")
    with pytest.raises(InputError, match=r"found a folder, expected a file. Do it"):
        read_json_object(tmp_path, "Do it")
