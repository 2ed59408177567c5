"""`bodyfit activities` and `bodyfit.activities`: activities.csv out, faults by name."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import bodyfit
from bodyfit.commands.main import main
from bodyfit.errors import InputError

SETUP = """
title = "standing"
[body]
model = "body.toml"
[units.phone]
segment = "pelvis"
table = "phone.csv"
time = "t"
accelerometer = { columns = ["ax", "ay", "az"], unit = "m/s^2" }
gyroscope = { columns = ["gx", "gy", "gz"], unit = "rad/s" }
"""


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    """Twenty seconds of standing with a unit at the pelvis, upside down."""
    rng, t = np.random.default_rng(0), np.arange(0, 20, 0.02)
    force = rng.normal(0, 0.05, (len(t), 3)) + np.array([0, -9.8, 0])
    rate = rng.normal(0, 0.01, (len(t), 3))
    names = ["t", "ax", "ay", "az", "gx", "gy", "gz"]
    pd.DataFrame(np.column_stack([t, force, rate]), columns=names).to_csv(tmp_path / "phone.csv", index=False)
    (tmp_path / "body.toml").write_text('name = "hips"\n[segments.pelvis]\n', "utf-8")
    (tmp_path / "setup.toml").write_text(SETUP, "utf-8")
    return tmp_path


def run(*args: object):
    return CliRunner().invoke(main, ["activities", *map(str, args)])


def test_a_capture_becomes_activities_csv(capture, tmp_path):
    result = run(capture, "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    table = pd.read_csv(tmp_path / "out" / "activities.csv")
    assert list(table.columns) == ["start_s", "end_s", "activity", "probability"]
    assert (table.end_s[:-1].to_numpy() == table.start_s[1:].to_numpy()).all()
    assert table.start_s.iloc[0] == 0 and table.end_s.iloc[-1] == pytest.approx(19.98, abs=0.03)
    assert "Not a fall detector" in result.output and "nobody walks in this recording" in result.output


def test_from_python_it_is_the_same(capture, tmp_path):
    found = bodyfit.activities(bodyfit.read_capture(capture))
    frame = found.to_frame()
    run(capture, "--out", tmp_path / "out")
    written = pd.read_csv(tmp_path / "out" / "activities.csv")
    assert list(written.activity) == list(frame.activity)
    assert found.probabilities.sum(1) == pytest.approx(1)
    assert sum(share.value for share in found.shares.values()) == pytest.approx(1)
    assert [f.kind for f in found.findings] == ["activity-frame-unsure"]


def test_a_capture_is_not_written_to(capture):
    result = run(capture)
    assert result.exit_code == 2 and "--out: missing" in result.output
    assert not (capture / "activities.csv").exists()


def test_a_delay_shorter_than_a_window_is_refused(capture):
    with pytest.raises(InputError, match=r"delay: found 1 s, expected at least 2 s"):
        bodyfit.activities(bodyfit.read_capture(capture), delay=1.0)


def test_units_elsewhere_are_refused_by_name():
    arm = bodyfit.read_capture(Path(__file__).parents[3] / "demo_captures" / "cello_arm")
    with pytest.raises(InputError, match=r"found breastbone on thorax.*pelvis, l_thigh, r_thigh"):
        bodyfit.activities(arm)
