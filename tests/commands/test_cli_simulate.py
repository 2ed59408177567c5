"""`bodyfit simulate`, its files, and its refusals."""

import json
import math

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.spatial.transform import Rotation

from bodyfit.commands.main import main
from bodyfit.errors import InputError
from bodyfit.files.capture.folder import read_capture
from bodyfit.files.motion.pose_tables import read_segments, write_segments
from bodyfit.simulation.settings_file import read_settings

MODEL = """
name = "two_parts"
[segments.upper]
length_m = 0.3
[segments.lower]
[joints.middle]
parent = "upper"
child = "lower"
centre_in_parent_m = [0.0, -0.3, 0.0]
"""


@pytest.fixture
def motion(tmp_path):
    """Folder with a motion of two parts and its body model."""
    time = np.arange(0, 2, 1 / 60)
    upper = Rotation.from_rotvec(np.outer(0.5 * np.sin(3 * time), [0.0, 0.0, 1.0]))
    lower = upper * Rotation.from_rotvec(np.outer(0.4 * np.cos(4 * time), [0.0, 0.6, 0.8]))
    with (tmp_path / "segments.csv").open("wb") as file:
        write_segments(file, time, {"upper": upper, "lower": lower})
    (tmp_path / "two_parts.toml").write_text(MODEL)
    return tmp_path


def run(motion, *options, out="capture"):
    call = ["simulate", str(motion / "segments.csv"), "--out", str(motion / out)]
    return CliRunner().invoke(main, [*call, "--model", str(motion / "two_parts.toml"), *options])


def test_writes_a_capture_that_can_be_read_and_its_truth(motion):
    result = run(motion, "--seed", "4", "--place", "60", "10")
    assert result.exit_code == 0, result.output
    assert "2 units, 2.0 s at 100 Hz, seed 4" in result.output
    capture = read_capture(motion / "capture")
    assert {unit.segment for unit in capture.units.values()} == {"upper", "lower"}
    assert capture.units["upper_unit"].accelerometer is not None
    assert capture.place is not None and capture.place.latitude_deg == 60
    truth = read_segments(motion / "capture" / "truth" / "segments.csv.gz")
    assert truth.time == pytest.approx(capture.units["upper_unit"].time, abs=1e-6)
    told = json.loads((motion / "capture" / "truth" / "truth.json").read_text())
    assert told["gravity_m_s2"] == pytest.approx(9.8191769531, abs=1e-9)  # WGS 84 at 60 degrees
    assert told["units"]["lower_unit"]["soft_tissue_rms_deg"] > 0


def test_same_seed_same_bytes(motion):
    for out in ("one", "two"):
        assert run(motion, "--seed", "4", out=out).exit_code == 0
    files = [p.relative_to(motion / "one") for p in sorted((motion / "one").rglob("*")) if p.is_file()]
    assert len(files) == 7
    for name in files:
        assert (motion / "one" / name).read_bytes() == (motion / "two" / name).read_bytes(), name


def test_units_are_worn_where_asked(motion):
    assert run(motion, "--on", "lower", "--perfect").exit_code == 0
    assert list(read_capture(motion / "capture").units) == ["lower_unit"]


def test_unknown_segment_is_refused(motion):
    result = run(motion, "--on", "lowr")
    assert result.exit_code == 2
    assert "segment 'lowr' is not in model 'two_parts'" in result.output
    assert "did you mean 'lower'" in result.output
    assert not (motion / "capture").exists()


def test_missing_motion_is_refused(motion):
    result = CliRunner().invoke(
        main, ["simulate", str(motion / "none.csv"), "--out", str(motion / "capture")]
    )
    assert result.exit_code == 2
    assert "none.csv: no such table" in result.output


def test_out_that_is_a_file_is_refused(motion):
    (motion / "capture").write_text("")
    result = run(motion)
    assert result.exit_code == 2
    assert "is a file, expected a folder" in result.output


def settings(folder, text):
    (folder / "settings.toml").write_text(text)
    return read_settings(folder / "settings.toml")


def test_settings_take_units_at_the_end_of_a_key(tmp_path):
    read = settings(
        tmp_path,
        """
        gyroscope_bias_sd_deg = 0.5
        accelerometer_full_scale_g = 8
        clock_rate_sd_ppm = 20
        clock_offset_sd_ms = 4
        magnetic_distortion_uT = 12
        sampling_frequency = 60
        state_mounting = false
        soft_tissue_deg_per_g = 1.5
        [field]
        norm_uT = 50
        dip_deg = 60
        [[field.dipoles]]
        position = [1, 0, 2]
        moment = [0, 30, 0]
        """,
    )
    assert read.gyroscope_bias_sd == pytest.approx(math.radians(0.5))
    assert read.accelerometer_full_scale == pytest.approx(8 * 9.80665)
    assert (read.clock_rate_sd, read.clock_offset_sd) == pytest.approx((20e-6, 4e-3))
    assert read.magnetic_distortion == pytest.approx(12e-6)
    assert (read.sampling_frequency, read.state_mounting, read.soft_tissue_deg_per_g) == (60, False, 1.5)
    assert (read.field.norm, read.field.dip) == pytest.approx((50e-6, math.radians(60)))
    assert read.field.dipoles[0].moment == (0, 30, 0)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("gyroscope_bias = 1", r"settings\.toml: gyroscope_bias: unknown key.*did you mean 'gyroscope_bias_"),
        ("dropped_share = 'much'", r"settings\.toml: dropped_share: found 'much'.*expected a number"),
        ("dropped_share = 1.5", r"settings\.toml: settings: dropped_share = 1\.5; expected a share below 1"),
        ("clock_offset_sd = 1\nclock_offset_sd_ms = 2", r"clock_offset_sd stands in this table twice"),
        ("state_position = 3", r"state_position: found 3.*expected true or false"),
        ("[[field.dipoles]]\nposition = [1, 2, 3]", r"field\.dipoles\[1\]\.moment: this key is missing"),
    ],
)
def test_wrong_settings_are_refused(tmp_path, text, message):
    with pytest.raises(InputError, match=message):
        settings(tmp_path, text)
