"""The page on setup.toml names the reader's own keys and words, all of them and no other."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bodyfit.files.capture.folder import SETUP_KEYS
from bodyfit.files.capture.sensor_samples import SENSOR_UNITS
from bodyfit.files.capture.time_stamps import TIME_WORDS
from bodyfit.files.capture.unit_samples import UNIT_KEYS, VECTOR_KEYS

PAGE = (Path(__file__).parents[2] / "docs" / "capture.md").read_text(encoding="utf-8")
SECTIONS = {"The file": SETUP_KEYS, "A unit": UNIT_KEYS, "A sensor of a unit": VECTOR_KEYS}


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
