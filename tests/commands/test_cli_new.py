"""`bodyfit new`: a draft is written, and what is open is told by it and by every later command."""

from __future__ import annotations

import shutil
from pathlib import Path

from click.testing import CliRunner

from bodyfit.commands.main import main

DEMO = Path(__file__).parents[2] / "demo_captures" / "cello_arm"


def test_a_draft_with_nothing_open(tmp_path: Path) -> None:
    for name in ("upper_arm", "forearm"):
        shutil.copy(DEMO / f"{name}.csv", tmp_path / f"right {name}.csv")
    tables = sorted(map(str, tmp_path.glob("*.csv")))
    run = CliRunner().invoke(main, ["new", str(tmp_path / "c"), *tables])
    assert run.exit_code == 0 and "Next: read the guesses over" in run.output and "?" not in run.output
    assert 'model = "right_elbow"' in (tmp_path / "c" / "setup.toml").read_text()
    again = CliRunner().invoke(main, ["new", str(tmp_path / "c"), *tables])
    assert again.exit_code == 2 and "is there already" in again.output


def test_what_is_open_is_told_by_every_command(tmp_path: Path) -> None:
    shutil.copy(DEMO / "hand.csv", tmp_path / "unit 7.csv")
    call = ["new", str(tmp_path / "c"), str(tmp_path / "unit 7.csv"), "--model", "right_arm"]
    run = CliRunner().invoke(main, call)
    assert run.exit_code == 0 and "units.unit_7.segment (a segment of the body model" in run.output
    assert "one of: thorax, r_upperarm, r_forearm, r_hand" in (tmp_path / "c" / "setup.toml").read_text()
    for call in (
        ["inspect", str(tmp_path / "c")],
        ["fit", str(tmp_path / "c"), "--out", str(tmp_path / "o")],
    ):
        later = CliRunner().invoke(main, call)
        assert later.exit_code == 2 and 'still "?", to be filled in: units.unit_7.segment' in later.output


def test_a_call_without_tables_is_refused(tmp_path: Path) -> None:
    assert CliRunner().invoke(main, ["new", str(tmp_path / "c")]).exit_code == 2
