"""`bodyfit repetitions`: what it prints and writes, what it refuses, files read back."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from repeated import evenly, fit_of

import bodyfit
from bodyfit.commands.main import main
from bodyfit.errors import OutputError

DEMO = Path(__file__).parents[2] / "demo_captures" / "parcel_lift"


def run(*words: str):
    return CliRunner().invoke(main, ["repetitions", *words], catch_exceptions=False)


def test_lifts_of_the_demo_are_found_in_its_capture(tmp_path):
    """Truth: four parcels are picked from the floor, 13.3 s apart (truth/joints.csv.gz, hips past 60°)."""
    true = pd.read_csv(DEMO / "truth" / "joints.csv.gz")
    bent = (true.l_hip_flexion_deg > 60).to_numpy()
    edges = np.flatnonzero(np.diff(bent.astype(int)))
    middles = true.time_s.to_numpy()[edges].reshape(-1, 2).mean(1)
    picks = middles[np.r_[True, np.diff(middles) > 3]]
    result = run(str(DEMO), "--like", "lift=4:8", "--out", str(tmp_path / "new"))
    assert result.exit_code == 0, result.output
    assert "lift: 4 repetitions" in result.output and "not a medical device" in " ".join(
        result.output.split()
    )
    table = pd.read_csv(tmp_path / "new" / "repetitions.csv")
    assert list(table.columns) == ["start_s", "end_s", "movement", "distance", "probability"]
    assert len(table) == len(picks) == 4
    assert ((table.start_s < picks) & (picks < table.end_s)).all()
    told = json.loads((tmp_path / "new" / "repetitions.json").read_text())
    assert told["movements"]["lift"]["counted"] == 4
    assert not (tmp_path / "new" / "cycles.csv").exists()


def test_a_name_is_printed_as_it_is(tmp_path):
    assert (
        "[bold]lift: 4 repetitions"
        in run(str(DEMO), "--like", "[bold]lift=4:8", "--out", str(tmp_path)).output
    )


def test_files_hold_what_python_returns(tmp_path):
    result = bodyfit.repetitions(fit_of(evenly("lift", 6, 2.4, 0.9), 24.0), {"lift": (2.0, 4.4)})
    paths = result.write(tmp_path)
    assert [p.name for p in paths] == ["repetitions.csv", "cycles.csv", "repetitions.json"]
    table, curves = (pd.read_csv(tmp_path / name) for name in ("repetitions.csv", "cycles.csv"))
    assert table.start_s.to_numpy() == pytest.approx([r.start for r in result.found], abs=1e-4)
    pd.testing.assert_frame_equal(curves, result.cycles_frame(), atol=1e-4, check_dtype=False)
    assert not list(tmp_path.glob(".*"))


def test_an_unknown_spread_is_an_empty_cell(tmp_path):
    alone = bodyfit.repetitions(fit_of(evenly("lift", 1, 2.4, 0.9), 9.0), {"lift": (2.0, 4.4)})
    alone.write(tmp_path)
    assert alone.counted == {"lift": 1}
    row = (tmp_path / "cycles.csv").read_text().splitlines()[1].split(",")
    assert row[2] == "" and row[1] != ""


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--like", "lift=4-8"], "--like: found 'lift=4-8'"),
        (["--like", "=4:8"], "expected NAME=START:END"),
        (["--like", "lift=400:408"], "expected it within the recording"),
        (["--worn-otherwise", "--like", "4:8"], "found no other recording"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, words, said):
    result = run(str(DEMO), *words, "--out", str(tmp_path / "new"))
    assert result.exit_code == 2
    assert said in " ".join(result.output.split())
    assert not (tmp_path / "new").exists()


def test_a_capture_needs_a_place_and_a_folder_must_be_one_of_ours(tmp_path):
    assert "give --out" in run(str(DEMO), "--like", "4:8").output
    assert "no summary.json and no setup.toml" in " ".join(run(str(tmp_path), "--like", "4:8").output.split())
    (tmp_path / "file").write_text("")
    result = bodyfit.repetitions(fit_of(evenly("lift", 2, 2.4, 0.9), 11.0), (2.0, 4.4))
    with pytest.raises(OutputError, match="is a file, expected a folder"):
        result.write(tmp_path / "file")
