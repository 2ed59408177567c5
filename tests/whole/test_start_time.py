"""Recordings stamped with dates: everything counts from the capture's start, which is told everywhere."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from bodyfit.commands.main import main

DEMO = Path(__file__).parents[2] / "demo_captures" / "cello_arm"
EPOCH = 1_700_000_004.25  # s, Unix time; 2023-11-14T22:13:24.25Z by GNU date -u -d @1700000004.25
MOMENT = "2023-11-14T22:13:24.25"


@pytest.fixture(scope="module")
def dated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve seconds of the demo, stamped in seconds since 1970."""
    folder = tmp_path_factory.mktemp("dated")
    for path in DEMO.glob("*.csv"):
        table = pd.read_csv(path)
        table = table[table.time_s < 12].copy()
        table.time_s = [f"{EPOCH + t:.6f}" for t in table.time_s]
        table.to_csv(folder / path.name, index=False)
    (folder / "setup.toml").write_text((DEMO / "setup.toml").read_text())
    return folder


def test_a_dated_capture_counts_from_its_start(dated: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    run = CliRunner().invoke(main, ["fit", str(dated), "--out", str(out)])
    assert run.exit_code == 0, run.output
    assert f" from {MOMENT[:19]}" in run.output
    summary = json.loads((out / "summary.json").read_text())
    assert summary["sampling"]["start_time"].startswith(MOMENT[:19])
    assert summary["sampling"]["end_s"] < 12.1
    for name in ("segments.csv", "joints.csv"):
        time = pd.read_csv(out / name).time_s
        assert 0 <= time.iloc[0] < 0.1 and time.iloc[-1] < 12.1
    assert CliRunner().invoke(main, ["review", str(out)]).exit_code == 0
    found = json.loads((out / "findings.json").read_text())
    assert found["start_time"] == summary["sampling"]["start_time"]
    assert all((f["start_s"] or 0) < 12.1 for f in found["findings"])
    assert CliRunner().invoke(main, ["report", str(out)]).exit_code == 0
    page = (out / "report.html").read_text(encoding="utf-8")
    assert f"from {MOMENT[:19]}" in page and "1700000" not in page


def test_inspect_tells_the_start(dated: Path, tmp_path: Path) -> None:
    call = ["inspect", str(dated), "--page", str(tmp_path / "p.html"), "--json", str(tmp_path / "i.json")]
    run = CliRunner().invoke(main, call)
    assert run.exit_code == 0 and f" from {MOMENT[:19]}" in run.output
    told = json.loads((tmp_path / "i.json").read_text())
    assert told["start_time"].startswith(MOMENT[:19]) and 0 <= told["start"] < 0.1
    assert f"from {MOMENT[:19]}" in (tmp_path / "p.html").read_text(encoding="utf-8")
