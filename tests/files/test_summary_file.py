"""summary.json: read back as it was written, strict about whatever was changed by hand."""

from __future__ import annotations

import copy
import json
import random
from typing import Any

import pytest
from example_fit import FINDINGS, chain, chain_summary, poses_of

from bodyfit.errors import InputError
from bodyfit.files.summary_file import read_summary, summary_text

POSES = poses_of(chain())
SUMMARY = chain_summary(POSES)
TEXT = summary_text(SUMMARY, POSES.model, FINDINGS)


@pytest.fixture
def refusal(tmp_path):
    """The message with which a changed summary.json is refused."""

    def of(data: Any) -> str:
        path = tmp_path / "summary.json"
        path.write_text(json.dumps(data))
        with pytest.raises(InputError) as caught:
            read_summary(path)
        return str(caught.value).removeprefix(f"{path}: ")

    return of


def changed(key: str, value: Any) -> dict[str, Any]:
    """The content with something else under a dotted key; … takes the key away."""
    data = json.loads(TEXT)
    *way, last = key.split(".")
    inner = data
    for name in way:
        inner = inner[name]
    if value is ...:
        del inner[last]
    else:
        inner[last] = value
    return data


def test_it_is_read_back_as_it_was(tmp_path):
    (tmp_path / "summary.json").write_text(TEXT)
    told = read_summary(tmp_path / "summary.json")
    assert told.summary == SUMMARY and told.findings == FINDINGS
    assert summary_text(told.summary, told.model, told.findings) == TEXT


def test_warnings_are_the_sentences_of_what_is_no_note():
    assert json.loads(TEXT)["warnings"] == ["the second joint never moved; move it"]


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("units", ..., "units: this key is missing"),
        ("body", ..., "body: this key is missing"),
        ("untis", {}, "untis: unknown key 'untis'; expected one of"),
        ("body.segments", ..., "body.segments: this key is missing"),
        ("findings", {}, "findings: found {}; expected a list"),
        ("findings", [{"kind": 1}], "findings[0].kind: found 1; expected text"),
        ("warnings", [1], "warnings[0]: found 1; expected text"),
        ("root_position", "on the roof", "root_position: found 'on the roof'; expected one of followed"),
        ("options.assign", "by hand", "options.assign: found 'by hand'; expected one of given, auto"),
        ("units.a_unit.segment", "d", "units.a_unit.segment: found 'd'; expected one of a, b, c"),
        ("units.a_unit.sensors", ["ear"], "units.a_unit.sensors[0]: found 'ear'; expected one of acc"),
        (
            "units.a_unit.mounting_quat_xyzw",
            [0.0, 0.0, 0.0, 0.5],
            "units.a_unit: mounting_quat_xyzw: found a",
        ),
        ("units.a_unit.mounting_covariance_rad2", [1.0], "units.a_unit.mounting_covariance_rad2: found 1 en"),
        ("joints.first.lever_arm_child_m", ..., "joints.first.lever_arm_child_m: this key is missing"),
        ("joints.first.determined", "yes", "joints.first.determined: found 'yes'; expected true or false"),
        ("joints.second", ..., "joints: no joint 'second', which body has"),
        ("joints.third", json.loads(TEXT)["joints"]["first"], "joints.third: found 'third'; expected one of"),
        (
            "joints.first.angles.twist",
            {"min_deg": 0, "max_deg": 1},
            "joints.first.angles.twist: found 'twist'",
        ),
        ("slips", [{"unit": "x", "time_s": 1, "angle_deg": 2}], "slips[0].unit: found 'x'; expected one of"),
        ("clocks", {"x": {"offset_s": 0, "rate_ppm": 0}}, "clocks.x: found 'x'; expected one of a_unit, b_u"),
        ("sampling.inferred_s", {"x": []}, "sampling.inferred_s.x: found 'x'; expected one of a, b, c"),
    ],
)
def test_what_was_changed_by_hand_is_refused_by_key(refusal, key, value, said):
    assert refusal(changed(key, value)).startswith(said)


def places(value: Any, way: tuple = ()) -> list[tuple]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [way, *(place for key, one in inner for place in places(one, (*way, key)))]


def test_whatever_stands_anywhere_is_read_or_refused_by_file_and_key(tmp_path):
    """Every place of the file once with each of some other values, and once taken away."""
    data, path, rng = json.loads(TEXT), tmp_path / "summary.json", random.Random(0)
    read = refused = 0
    for way in places(data)[1:]:
        for value in rng.sample([..., None, True, -3, 1e300, "?", [], {}, [0.5], {"a": []}, [[], {}]], 4):
            broken = copy.deepcopy(data)
            inner = broken
            for key in way[:-1]:
                inner = inner[key]
            if value is ...:
                del inner[way[-1]]
            else:
                inner[way[-1]] = value
            path.write_text(json.dumps(broken))
            try:
                read_summary(path)
                read += 1
            except InputError as error:
                refused += 1
                assert str(error).startswith(f"{path}: "), error
    assert refused > 600 and read > 20
