"""Drafted setups of raw layouts: they run, or name the one line that a person must fill in."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from layouts import LAYOUTS, NAMES, tables

import bodyfit
from bodyfit.errors import InputError
from bodyfit.files.draft.draft import draft_setup

FACTORS = {"a": 1.0, "g": np.pi / 180, "m": 1e-6}  # of the demo's columns to SI
SENSORS = {"accelerometer": "a", "gyroscope": "g", "magnetometer": "m"}


def drafted(tmp_path: Path, name: str) -> Path:
    raw = tmp_path / "raw"
    raw.mkdir()
    LAYOUTS[name].write(raw)
    draft_setup(tmp_path / "capture", sorted(p for p in raw.rglob("*") if p.is_file()))
    return tmp_path / "capture"


@pytest.mark.parametrize("name", LAYOUTS)
def test_a_drafted_setup_runs_or_names_its_open_line(tmp_path: Path, name: str) -> None:
    layout, folder = LAYOUTS[name], drafted(tmp_path, name)
    setup = folder / "setup.toml"
    if layout.open:
        with pytest.raises(InputError, match=r'still "\?"') as refused:
            bodyfit.read_capture(folder)
        assert len(layout.open) == 1 and str(refused.value).count(" (") == 1
        assert f"{layout.open[0]} (" in str(refused.value)
        setup.write_text(setup.read_text().replace('"?"', layout.filled))
    capture = bodyfit.read_capture(folder)
    assert {unit.segment for unit in capture.units.values()} == set(layout.segments)
    true = tables()
    segment = {f"r_{one.replace('_', '')}": one for one in NAMES}
    for unit in capture.units.values():
        table = true[segment[str(unit.segment)]]
        for sensor, letter in SENSORS.items():
            values = getattr(unit, sensor)
            assert values is not None
            expected = table[[letter + axis for axis in "xyz"]].to_numpy() * FACTORS[letter]
            usual = np.nanmedian(np.linalg.norm(expected, axis=1))
            middle = np.nanmedian(np.linalg.norm(values, axis=1))
            assert middle == pytest.approx(usual, rel=0.02)  # rows may be lost: the table in one, the counter
        first = unit.time < unit.time[0] + 13  # of two trials the first
        assert unit.time[first][-1] - unit.time[0] == pytest.approx(12.0, abs=0.5)
    result = bodyfit.fit(capture)
    assert len(result.time) > 1000


def test_guesses_are_marked(tmp_path: Path) -> None:
    text = (drafted(tmp_path, "plain") / "setup.toml").read_text()
    guessed = [
        line for line in text.splitlines() if line.startswith(("segment", "time", "acc", "gyro", "mag"))
    ]
    assert len(guessed) == 15 and all("# guess: " in line for line in guessed)
    assert tomllib.loads(text)["body"]["model"] == "right_arm"


def test_what_is_there_is_not_replaced(tmp_path: Path) -> None:
    folder = drafted(tmp_path, "plain")
    with pytest.raises(InputError, match="is there already"):
        draft_setup(folder, list((tmp_path / "raw").glob("*")))


def test_a_table_without_sensors_is_named(tmp_path: Path) -> None:
    (tmp_path / "walk.csv").write_text("t,heart_rate\n0,60\n1,61\n")
    with pytest.raises(InputError, match=r"walk\.csv: no column names a sensor"):
        draft_setup(tmp_path / "c", [tmp_path / "walk.csv"])


def test_two_tables_of_one_unit_are_named(tmp_path: Path) -> None:
    raw = tmp_path / "raw"
    raw.mkdir()
    LAYOUTS["plain"].write(raw)
    (raw / "right hand acc.csv").write_bytes((raw / "right hand.csv").read_bytes())
    with pytest.raises(InputError, match="twice"):
        draft_setup(tmp_path / "c", sorted(raw.glob("*.csv")))


def test_raw_counts_are_left_open(tmp_path: Path) -> None:
    table = tables()["hand"]
    table[["ax", "ay", "az"]] *= 16384 / 9.80665
    table[["gx", "gy", "gz"]] *= 16.4
    table.to_csv(tmp_path / "right hand.csv", index=False)
    draft_setup(tmp_path / "c", [tmp_path / "right hand.csv"])
    with pytest.raises(InputError, match=r"accelerometer\.unit .*gyroscope\.unit"):
        bodyfit.read_capture(tmp_path / "c")
