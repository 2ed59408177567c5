"""`bodyfit strides` on a capture: what it prints and writes."""

from __future__ import annotations

from click.testing import CliRunner

from bodyfit.commands.main import main
from bodyfit.files.capture.writer import write_capture
from bodyfit.files.model.model_file import read_model
from bodyfit.recording.capture import Capture
from tests.feet.stepping import stepping


def test_strides_of_a_capture(tmp_path):
    made = stepping(segment="r_hindfoot")
    write_capture(Capture({"foot": made.unit}, read_model("right_leg")), tmp_path / "capture")
    run = CliRunner().invoke(main, ["strides", str(tmp_path / "capture"), "--out", str(tmp_path / "out")])
    assert run.exit_code == 0, run.output
    assert "stride length, m" in run.output and "Not a medical device" in run.output
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["events.csv", "strides.csv"]


def test_without_out_nothing_is_written_beside_a_capture(tmp_path):
    write_capture(
        Capture({"foot": stepping(segment="r_hindfoot").unit}, read_model("right_leg")), tmp_path / "c"
    )
    before = sorted(path.name for path in (tmp_path / "c").iterdir())
    assert CliRunner().invoke(main, ["strides", str(tmp_path / "c")]).exit_code == 0
    assert sorted(path.name for path in (tmp_path / "c").iterdir()) == before


def test_a_capture_without_foot_exits_with_two(tmp_path):
    write_capture(
        Capture({"foot": stepping(segment="r_forearm").unit}, read_model("whole_body")), tmp_path / "c"
    )
    run = CliRunner().invoke(main, ["strides", str(tmp_path / "c")])
    assert run.exit_code == 2 and "no unit is worn on a foot" in run.output
