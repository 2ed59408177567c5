"""The pages on setup.toml and on scripted motions name the readers' own keys, all of them and no other."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bodyfit.files.capture.folder import SETUP_KEYS
from bodyfit.files.capture.sensor_samples import SENSOR_UNITS
from bodyfit.files.capture.time_stamps import TIME_WORDS
from bodyfit.files.capture.unit_samples import UNIT_KEYS, VECTOR_KEYS
from bodyfit.files.motion.script import CURVE_KEYS, PLACES, SCRIPT_KEYS, SINE_KEYS, TURNS

PAGE = (Path(__file__).parents[2] / "docs" / "capture.md").read_text(encoding="utf-8")
SECTIONS = {"The file": SETUP_KEYS, "A unit": UNIT_KEYS, "A sensor of a unit": VECTOR_KEYS}


PLANNING = (Path(__file__).parents[2] / "docs" / "planning.md").read_text(encoding="utf-8")
SCRIPTS = {
    "The file": SCRIPT_KEYS,
    "Curves of the root": (*TURNS, *PLACES),
    "A curve": CURVE_KEYS,
    "A sine": SINE_KEYS,
}


@pytest.mark.parametrize("title", SCRIPTS)
def test_keys_of_scripted_motions_are_the_readers(title: str) -> None:
    section = PLANNING.split("## A scripted motion", 1)[1].split("\n## ", 1)[0]
    table = re.search(rf"{title}:\n\n((?:\|.*\n)+)", section)
    assert table is not None
    rows = table[1].splitlines()
    assert rows[0] == "| key | meaning | allowed | default | example |"
    assert [re.findall(r"`(\w+)`", row)[0] for row in rows[2:]] == list(SCRIPTS[title])
    assert all(row.count(" | ") == 4 for row in rows)


def _rows(title: str) -> dict[str, str]:
    """Key -> its row."""
    section = re.split(r"^## ", PAGE, flags=re.M)
    text = next(part for part in section if re.match(rf"{title}(,.*)?\n", part))
    return dict(re.findall(r"^\| `(\w+)` (\|.*)$", text, flags=re.M))


@pytest.mark.parametrize("title", SECTIONS)
def test_keys_are_the_readers(title: str) -> None:
    assert set(_rows(title)) == set(SECTIONS[title])


def test_words_are_the_readers() -> None:
    words = set(re.findall(r"`([^`]+)`", _rows("A unit")["time"].split("|")[2]))
    assert words == set(TIME_WORDS)
    for sensor in ("accelerometer", "gyroscope", "magnetometer"):
        told = re.search(rf"{sensor}: ([^;|]+)", _rows("A sensor of a unit")["unit"])
        assert told is not None
        assert set(re.findall(r"`([^`]+)`", told[1])) == set(SENSOR_UNITS[sensor])
