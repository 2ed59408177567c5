"""Every way in which a capture folder or a body model can be wrong gets an error that says what to do."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from capture_files import calf_columns, known, thigh_columns, with_value, write_folder

from bodyfit.errors import InputError, OutputError, suggest
from bodyfit.files.capture.folder import read_capture
from bodyfit.files.capture.writer import write_capture
from bodyfit.files.model.model_file import read_model, write_model
from bodyfit.files.plain.tables import read_table, write_table

THIGH, CALF = thigh_columns(), calf_columns()
TIME = THIGH["time_s"]
ACCELEROMETER = 'accelerometer = { columns = ["ax", "ay", "az"], unit = "m/s^2", full_scale = 157.0 }'
GYROSCOPE = 'gyroscope = { columns = ["gx", "gy", "gz"], unit = "deg/s", full_scale = 2000.0 }'
MAGNETOMETER = 'magnetometer = { columns = ["mx", "my", "mz"], unit = "uT" }'
ORIENTATION = 'orientation = { columns = ["qx", "qy", "qz", "qw"] }'
CALIBRATION = "start_s = 0.1\nend_s = 0.4"


def refusal(folder: Path) -> str:
    """What reading the folder is refused with."""
    with pytest.raises(InputError) as caught:
        read_capture(folder)
    assert caught.value.exit_code == 2
    return str(caught.value)


def check(message: str, *fragments: str) -> None:
    """Every fragment stands in the message, on one line that names a file."""
    for fragment in fragments:
        assert fragment in message, f"{fragment!r} is not in: {message}"
    assert "\n" not in message


def test_the_folder_that_the_other_tests_change_is_read(tmp_path):
    capture = read_capture(write_folder(tmp_path))
    assert set(capture.units) == {"thigh_unit", "calf_unit"}


# the texts of setup.toml: what is replaced, by what, and what the message must say

SETUP_FAULTS = {
    "unknown key at the top": (
        'title = "Thigh and calf"',
        'tittle = "Thigh and calf"',
        "setup.toml: tittle: unknown key 'tittle'; expected one of",
        "did you mean 'title'?",
    ),
    "unknown key of a unit": (
        "segment = ",
        "segmnt = ",
        "setup.toml: units.thigh_unit.segmnt: unknown key",
        "did you mean 'segment'?",
    ),
    "unknown key of a sensor": (
        'unit = "m/s^2", full_scale',
        'unit = "m/s^2", fullscale',
        "units.thigh_unit.accelerometer.fullscale: unknown key",
        "did you mean 'full_scale'?",
    ),
    "unknown key of a person": (
        "stature_m",
        "stature",
        "person.stature: unknown key",
        "did you mean 'stature_m'?",
    ),
    "unknown key of a place": ("height_m", "altitude_m", "place.altitude_m: unknown key", "height_m"),
    "unknown key of a calibration": (
        "start_s",
        "start",
        "calibration[1].start: unknown key",
        "did you mean 'start_s'?",
    ),
    "unknown key of a body": (
        'model = "leg',
        'modell = "leg',
        "body.modell: unknown key",
        "did you mean 'model'?",
    ),
    "title is a number": ('"Thigh and calf"', "5", "title: found 5; expected text in quotes"),
    "blank segment": (
        'segment = "r_thigh"',
        'segment = " "',
        "thigh_unit.segment: found ' '; expected text in quotes",
    ),
    "start_time is text": (
        "2026-03-01T10:00:00Z",
        '"2026-03-01"',
        "start_time: found '2026-03-01'; expected a date and time without quotes",
    ),
    "stature is text": ("1.72", '"1.72"', "person.stature_m: found '1.72'; expected a number"),
    "stature in centimetres": ("1.72", "172", "setup.toml: person.stature_m: found 172", "0.4 to 2.8 m"),
    "mass is true": ("mass_kg = 64", "mass_kg = true", "person.mass_kg: found true; expected a number"),
    "unknown sex": (
        '"female"',
        '"femal"',
        "person.sex: found 'femal'",
        "female, male; did you mean 'female'?",
    ),
    "latitude off the globe": ("47.1", "147.1", "place.latitude_deg: found 147.1", "-90 to 90 degrees"),
    "place without longitude": (
        "longitude_deg = 9.5, ",
        "",
        "place.longitude_deg: this key is missing; expected degrees",
    ),
    "place without latitude": ("latitude_deg = 47.1, ", "", "place.latitude_deg: this key is missing"),
    "person is no table": (
        "[person]\nstature_m = 1.72\nmass_kg = 64\nsex = ",
        "person = ",
        "setup.toml: person: found 'female'; expected a table",
    ),
    "unknown segment": (
        '"r_thigh"',
        '"r_tigh"',
        "units.thigh_unit.segment: found 'r_tigh', which model 'leg' does not have; expected one of",
        "did you mean 'r_thigh'?",
    ),
    "two units on one segment": (
        '"r_calf"',
        '"r_thigh"',
        "units.calf_unit.segment: found 'r_thigh', where thigh_unit is already; expected one unit a segment",
    ),
    "no table": (
        'table = "thigh.csv"\n',
        "",
        "units.thigh_unit.table: this key is missing; expected a file name",
    ),
    "missing table": (
        "thigh.csv",
        "tigh.csv",
        "tigh.csv: no such table; expected one of calf.csv, thigh.csv; did you",
    ),
    "unknown kind of table": (
        "thigh.csv",
        "thigh.xlsx",
        "thigh.xlsx: unknown kind of table; expected one of .csv",
    ),
    "missing column": (
        '"ax", "ay", "az"], unit = "m/s^2"',
        '"ax", "ay", "a_z"], unit = "m/s^2"',
        "thigh.csv: no column 'a_z' (named by units.thigh_unit.accelerometer.columns)",
        "expected one of time_s, ax, ay, az, gx",
        "did you mean 'az'?",
    ),
    "missing time column": (
        'time = "time_s"',
        'time = "times"',
        "no column 'times' (named by units.thigh_unit.time)",
        "did you mean 'time_s'?",
    ),
    "two columns for three axes": (
        '"ax", "ay", "az"], unit = "m/s^2"',
        '"ax", "ay"], unit = "m/s^2"',
        "accelerometer.columns: found ['ax', 'ay']; expected 3 different names",
    ),
    "one column twice": ('"gx", "gy", "gz"]', '"gx", "gy", "gy"]', "expected 3 different names"),
    "columns are no list": (
        '["gx", "gy", "gz"]',
        '"gx"',
        "gyroscope.columns: found 'gx'; expected a list of 3 texts",
    ),
    "a fourth column that repeats": ('"gx", "gy", "gz"]', '"gx", "gy", "gz", "gz"]', "expected 3 different"),
    "columns are numbers": ('["gx", "gy", "gz"]', "[1, 2, 3]", "found [1, 2, 3]; expected a list of 3 texts"),
    "a column without a name": ('["gx", "gy", "gz"]', '["gx", "gy", ""]', "expected a list of 3 texts"),
    "four columns for three axes": (
        '"gx", "gy", "gz"]',
        '"gx", "gy", "gz", "ax"]',
        "expected 3 different names",
    ),
    "no columns": ('columns = ["gx", "gy", "gz"], ', "", "gyroscope.columns: this key is missing"),
    "sensor is no table": (
        ORIENTATION,
        'orientation = "qx"',
        "thigh_unit.orientation: found 'qx'; expected a table",
    ),
    "unknown unit of force": (
        '"m/s^2"',
        '"m/s2"',
        "accelerometer.unit: found 'm/s2'; expected one of m/s^2, g, mg, cm/s^2; did you mean 'm/s^2'?",
    ),
    "unknown unit of rate": (
        '"deg/s"',
        '"dps"',
        "gyroscope.unit: found 'dps'; expected one of rad/s, deg/s, mdeg/s",
    ),
    "unknown unit of field": ('"uT"', '"µT"', "magnetometer.unit: found 'µT'", "did you mean 'uT'?"),
    "no unit": (
        ', unit = "uT"',
        "",
        "magnetometer.unit: this key is missing; expected one of T, uT, nT, G, mG",
    ),
    "full scale of zero": ("157.0", "0.0", "accelerometer.full_scale: found 0.0; expected the largest"),
    "full scale is text": (
        "157.0",
        '"157"',
        "accelerometer.full_scale: found '157'; expected the largest readable",
    ),
    "full scale exceeded": (
        "full_scale = 157.0",
        "full_scale = 8.0",
        "units.thigh_unit.accelerometer (thigh.csv): row 1 (t = 0.000 s): found 9.81 m/s^2",
        "beyond full_scale = 8; expected less",
    ),
    "time and rate": (
        'time = "time_s"',
        'time = "time_s"\nsampling_frequency = 100',
        "units.thigh_unit.time: given beside sampling_frequency; expected one: time = ",
    ),
    "neither time nor rate": (
        'time = "time_s"\n',
        "",
        "units.thigh_unit.time: neither it nor sampling_frequency is given; expected one",
    ),
    "negative rate": (
        "sampling_frequency = 100.0",
        "sampling_frequency = -100.0",
        "units.calf_unit.sampling_frequency: found -100.0; expected samples a second, above 0",
    ),
    "mounting of three numbers": (
        "[0.0, 0.0, 0.0, 1.0]",
        "[0.0, 0.0, 1.0]",
        "units.thigh_unit.mounting: found [0.0, 0.0, 1.0]; expected a list of 4 numbers",
    ),
    "mounting not a unit": (
        "[0.0, 0.0, 0.0, 1.0]",
        "[0.0, 0.0, 0.6, 0.6]",
        "thigh_unit.mounting: found [0.0, 0.0, 0.6, 0.6]; expected a quaternion of length 1",
        "this one has length 0.8485",
    ),
    "mounting is a number": ("[0.0, 0.0, 0.0, 1.0]", "1", "mounting: found 1; expected a list of 4 numbers"),
    "mounting is text": (
        "[0.0, 0.0, 0.0, 1.0]",
        '"none"',
        "mounting: found 'none'; expected a list of 4 numbers",
    ),
    "very long mounting": (
        "[0.0, 0.0, 0.0, 1.0]",
        f"[{', '.join(['0.125'] * 40)}]",
        "mounting: found [0.125, 0.125, 0.125, 0.125, 0.125, 0.125, 0.125, 0.125, ...; expected",
    ),
    "position of two numbers": (
        "[0.05, -0.02, -0.15]",
        "[0.05, -0.02]",
        "position_m: found [0.05, -0.02]; expected a",
    ),
    "position is not finite": (
        "[0.05, -0.02, -0.15]",
        "[0.05, -0.02, nan]",
        "expected a list of 3 numbers, metres",
    ),
    "unknown up": (
        '"qx", "qy", "qz", "qw"]',
        '"qx", "qy", "qz", "qw"], up = "x"',
        "orientation.up: found 'x'; expected one of y, z",
    ),
    "unit on an orientation": (
        '"qx", "qy", "qz", "qw"]',
        '"qx", "qy", "qz", "qw"], unit = "rad"',
        "thigh_unit.orientation.unit: unknown key 'unit'; expected one of columns, up",
    ),
    "up is z where the world has y up": (
        '"qx", "qy", "qz", "qw"]',
        '"qx", "qy", "qz", "qw"], up = "z"',
        "units.thigh_unit.orientation (thigh.csv): turned by it, the accelerometer points 90° off up",
        'set up = "y"',
    ),
    "unknown model": (
        '"leg.toml"',
        '"legs.toml"',
        "setup.toml: body.model: no body model 'legs.toml'",
        "did you mean 'leg.toml'?",
    ),
    "no model": ('model = "leg.toml"', "", "body.model: this key is missing; expected one of left_ankle"),
    "no body": (
        '[body]\nmodel = "leg.toml"',
        "",
        "setup.toml: body: this key is missing; expected [body] with model",
    ),
    "unusable unit name": (
        "[units.thigh_unit]",
        '[units."thigh unit"]',
        "the name 'thigh unit' is not usable",
    ),
    "unknown kind of calibration": (
        'kind = "still"',
        'kind = "stil"',
        "calibration[1].kind: found 'stil'; expected one of still, movement; did you mean 'still'?",
    ),
    "calibration without kind": ('kind = "still"\n', "", "calibration[1].kind: this key is missing"),
    "calibration without end": (
        "end_s = 0.4",
        "",
        "calibration[1].end_s: this key is missing; expected seconds",
    ),
    "calibration after the end": (
        CALIBRATION,
        "start_s = 0.1\nend_s = 4.0",
        "calibration[1].end_s: found 4; expected within the recording, 0.000 to 0.590 s",
    ),
    "calibration before the start": (
        CALIBRATION,
        "start_s = -1\nend_s = 0.4",
        "start_s: found -1; expected within",
    ),
    "calibration ends before it starts": (
        CALIBRATION,
        "start_s = 0.4\nend_s = 0.1",
        "calibration[1].end_s: found 0.1; expected later than start_s = 0.4",
    ),
    "calibration is one table": (
        "[[calibration]]",
        "[calibration]",
        "calibration: found",
        "[[calibration]] tables",
    ),
    "not TOML": ("[body]", "[body", "setup.toml: not valid TOML", "line 10", "correct that line"),
    "one key twice": ("mass_kg = 64", "mass_kg = 64\nmass_kg = 65", "setup.toml: not valid TOML", "line 8"),
}


@pytest.mark.parametrize("fault", SETUP_FAULTS)
def test_fault_in_setup(tmp_path, fault):
    old, new, *fragments = SETUP_FAULTS[fault]
    check(refusal(write_folder(tmp_path, setup=[(old, new)])), *fragments, str(tmp_path))


# the table of the thigh's unit: which columns are replaced, by what, and what the message must say

BACK = TIME.copy()
BACK[29:] -= 0.2
TABLE_FAULTS = {
    "time goes back": (
        {"time_s": BACK},
        "thigh.csv: column 'time_s': row 30: t = 0.090 s comes after 0.280 s",
        "expected increasing time: sort the rows",
    ),
    "time stands still": (
        {"time_s": np.repeat(TIME[::2], 2)},
        "column 'time_s': 30 of 60 rows repeat the time stamp before them, first row 2 (t = 0.000 s)",
        "at most 1% repeats",
    ),
    "no time stamp": (
        {"time_s": with_value(TIME, 7, None)},
        "column 'time_s': row 8: no time stamp; expected seconds",
    ),
    "time in milliseconds": (
        {"time_s": TIME * 1000},
        "column 'time_s': found stamps 10 apart, which as seconds is 0.1 samples a second",
        "expected 2 to 20000",
        "they look like milliseconds",
    ),
    "time in microseconds": (
        {"time_s": TIME * 1e6},
        "found stamps 10000 apart",
        "they look like microseconds",
    ),
    "time in hours": ({"time_s": TIME / 3600}, "is 3.6e+05 samples a second", "they look like another unit"),
    "time is a date": (
        {"time_s": [f"2026-03-01 10:00:{k:02d}" for k in range(60)]},
        "column 'time_s': row 1: found",
        "expected a number or an empty cell",
    ),
    "a word among numbers": (
        {"ay": with_value(THIGH["ay"], 16, "oops")},
        "thigh.csv: column 'ay': row 17: found 'oops'; expected a number or an empty cell",
    ),
    "a decimal comma": (
        {"ay": with_value(THIGH["ay"], 0, "9,81")},
        "column 'ay': row 1: found '9,81'",
        "write decimals with a point",
    ),
    "an infinite number": (
        {"gy": with_value(THIGH["gy"], 3, "-inf")},
        "thigh.csv: column 'gy': row 4: found -inf; expected a finite number or an empty cell",
    ),
    "an empty sensor": (
        {"my": np.full(60, np.nan)},
        "units.thigh_unit.magnetometer (thigh.csv): every row has an empty cell in mx, my, mz",
        "expected numbers",
    ),
    "quaternions that are not unit": (
        {"qw": with_value(THIGH["qw"], 20, 1.3)},
        "units.thigh_unit.orientation (thigh.csv): row 21 (t = 0.200 s): found a quaternion of length 1.3",
        "(1 such rows); expected 1 within 0.01",
    ),
    "quaternions scalar first": (
        {"qx": THIGH["qw"], "qw": THIGH["qx"]},
        "orientation (thigh.csv): turned by it, the accelerometer points 1",
        "columns in the order x, y, z, w",
    ),
    "a world with Z up": (
        {"qx": np.full(60, np.sqrt(0.5)), "qw": np.full(60, np.sqrt(0.5)), "qy": np.zeros(60)},
        "the accelerometer points 90° off up on average; expected near 0°",
        'add up = "z"',
    ),
    "an accelerometer that reads gravity downward": (
        {"ay": -THIGH["ay"]},
        "the accelerometer points 179° off up on average",
        "if the accelerometer reads gravity downward, change the sign of its columns",
    ),
    "forces in g": (
        {"ax": 0.01 * np.ones(60), "ay": np.ones(60)},
        "units.thigh_unit.accelerometer (thigh.csv): found a median length of 1 m/s^2, 0.102 times gravity",
        'expected about 1; these numbers fit unit = "g"',
    ),
    "forces in mg": ({"ay": THIGH["ay"] * 102}, "102 times gravity; expected about 1", 'fit unit = "mg"'),
    "gravity removed": (
        {"ay": np.full(60, 0.05)},
        "found a median length of 0.1118 m/s^2, 0.0114 times gravity",
        "Give specific force, from which gravity has not been removed",
    ),
    "one stamp for all": ({"time_s": np.zeros(60)}, "column 'time_s': 59 of 60 rows repeat the time stamp"),
    "stamps 0.6 s apart": (
        {"time_s": TIME * 60},
        "found stamps 0.6 apart, which as seconds is 1.67 samples a second",
    ),
    "field in nanotesla": (
        {"my": np.full(60, -43000.0)},
        "magnetometer (thigh.csv): found a median length of 4.3e+04 uT",
        "expected 2 to 1000 (the Earth's field is 20 to 70 uT)",
        'try unit = "nT"',
    ),
    "field scaled to one": (
        {"mx": np.zeros(60), "my": np.ones(60)},
        "length of 1 uT",
        'try unit = "arbitrary"',
    ),
}


@pytest.mark.parametrize("fault", TABLE_FAULTS)
def test_fault_in_a_table(tmp_path, fault):
    columns, *fragments = TABLE_FAULTS[fault]
    check(refusal(write_folder(tmp_path, thigh=columns)), *fragments, str(tmp_path))


def test_forces_in_metres_declared_as_g(tmp_path):
    message = refusal(write_folder(tmp_path, calf={"ay": np.full(60, 9.81)}))
    check(
        message, "units.calf_unit.accelerometer (calf.csv): found a median length of 9.81 g", 'unit = "m/s^2"'
    )


def test_degrees_declared_as_radians_are_refused_unless_a_full_scale_allows_them(tmp_path):
    fast = {"gx": np.full(60, 70.0)}
    message = refusal(write_folder(tmp_path, calf=fast))
    check(
        message,
        "units.calf_unit.gyroscope (calf.csv): found a median length of 70 rad/s; expected at most 20",
    )
    check(message, 'these numbers fit unit = "deg/s"; if they are right, declare full_scale')
    declared = ('unit = "rad/s"', 'unit = "rad/s", full_scale = 80')
    read_capture(write_folder(tmp_path, setup=[declared], calf=fast))


def test_rate_beyond_any_unit(tmp_path):
    setup = [('unit = "deg/s", full_scale = 2000.0', 'unit = "mdeg/s"')]
    message = refusal(write_folder(tmp_path, setup=setup, thigh={"gy": np.full(60, 2e6)}))
    check(message, "found a median length of 2e+06 mdeg/s; expected at most 1.146e+06; check the unit")
    setup = [('unit = "deg/s", full_scale = 2000.0', 'unit = "deg/s"')]
    message = refusal(write_folder(tmp_path, setup=setup, thigh={"gy": np.full(60, 2e4)}))
    check(message, 'expected at most 1146; these numbers fit unit = "mdeg/s"')


def test_full_scale_is_in_the_unit_of_the_samples(tmp_path):
    message = refusal(write_folder(tmp_path, thigh={"gy": with_value(THIGH["gy"], 9, -2500.0)}))
    check(message, "row 10 (t = 0.090 s): found 2500 deg/s, beyond full_scale = 2000; expected less")
    read_capture(write_folder(tmp_path, thigh={"gy": with_value(THIGH["gy"], 9, -2300.0)}))


def test_hard_shaking_throughout_is_no_fault(tmp_path):
    capture = read_capture(write_folder(tmp_path, thigh={"ay": np.full(60, 60.0)}))
    assert np.max(np.abs(known(capture.units["thigh_unit"].accelerometer))) == 60.0


@pytest.mark.parametrize("up", ["y", "z"])
def test_world_with_another_axis_up_is_not_called_one_with_y_or_z_up(tmp_path, up):
    half = np.full(60, np.sqrt(0.5))
    columns = {"qx": np.zeros(60), "qy": np.zeros(60), "qz": half, "qw": half}  # takes Y to -X
    setup = [('"qx", "qy", "qz", "qw"]', f'"qx", "qy", "qz", "qw"], up = "{up}"')]
    message = refusal(write_folder(tmp_path, setup=setup, thigh=columns))
    check(
        message,
        "turned by it, the accelerometer points",
        "on average; expected near 0°; give world_from_unit",
    )


def test_z_up_declared_twice_is_not_called_y_up(tmp_path):
    half = np.full(60, np.sqrt(0.5))
    columns = {"qx": -half, "qy": np.zeros(60), "qz": np.zeros(60), "qw": half}  # takes Y to -Z
    setup = [('"qx", "qy", "qz", "qw"]', '"qx", "qy", "qz", "qw"], up = "z"')]
    check(
        refusal(write_folder(tmp_path, setup=setup, thigh=columns)), "points 179° off up", "gravity downward"
    )
    check(
        refusal(write_folder(tmp_path, thigh=columns)),
        "points 90° off up",
        "expected near 0°; give world_from_unit",
    )


def test_z_up_already_declared_is_not_asked_for(tmp_path):
    upside_down = {"qx": np.ones(60), "qy": np.zeros(60), "qw": np.zeros(60)}  # takes Y to -Y
    setup = [('"qx", "qy", "qz", "qw"]', '"qx", "qy", "qz", "qw"], up = "z"')]
    message = refusal(write_folder(tmp_path, setup=setup, thigh=upside_down))
    check(message, "points 90° off up", "expected near 0°; give world_from_unit")


def test_orientation_is_not_compared_where_the_accelerometer_is_silent(tmp_path):
    columns = {name: THIGH[name].copy() for name in ("ay", "qw", "qx")}
    columns["ay"][30:], columns["qw"][:30] = np.nan, np.nan
    capture = read_capture(write_folder(tmp_path, thigh=columns))
    assert capture.units["thigh_unit"].sensors >= {"accelerometer", "orientation"}


def test_unit_without_a_sensor(tmp_path):
    setup = [(f"{line}\n", "") for line in (ACCELEROMETER, GYROSCOPE, MAGNETOMETER, ORIENTATION)]
    message = refusal(write_folder(tmp_path, setup=setup))
    check(
        message,
        "units.thigh_unit.accelerometer: this unit has no sensor; expected at least one of accelerometer,",
    )


def test_capture_without_units(tmp_path):
    folder = write_folder(tmp_path)
    (folder / "setup.toml").write_text('[body]\nmodel = "leg.toml"\n')
    check(refusal(folder), "setup.toml: units: this key is missing; expected a table [units.<name>]")


@pytest.mark.parametrize("value", ["5", "[1, 2]", '"still"'])
def test_calibration_that_is_no_list_of_tables(tmp_path, value):
    folder = write_folder(
        tmp_path, setup=[('[[calibration]]\nkind = "still"\nstart_s = 0.1\nend_s = 0.4\n', "")]
    )
    setup = (folder / "setup.toml").read_text()
    (folder / "setup.toml").write_text(f"calibration = {value}\n{setup}")
    check(refusal(folder), "calibration: found", "expected [[calibration]] tables")


def test_unit_of_nine_samples(tmp_path):
    folder = write_folder(tmp_path, setup=[(CALIBRATION, "start_s = 0\nend_s = 0.05")])
    lines = (folder / "thigh.csv").read_text().splitlines()
    (folder / "thigh.csv").write_text("\n".join(lines[:10]) + "\n")
    check(refusal(folder), "units.thigh_unit.table (thigh.csv): found 9 rows; expected at least 10")
    (folder / "thigh.csv").write_text("\n".join(lines[:11]) + "\n")
    assert len(read_capture(folder).units["thigh_unit"].time) == 10


def test_units_that_do_not_overlap(tmp_path):
    message = refusal(write_folder(tmp_path, thigh={"time_s": TIME + 100}))
    check(
        message,
        "units.calf_unit ends at 0.590 s, before units.thigh_unit starts at 100.000 s",
        "on one clock",
    )


def test_missing_folder_and_files(tmp_path):
    check(refusal(tmp_path / "none"), f"{tmp_path / 'none'}: no such file")
    check(refusal(tmp_path), "setup.toml: no such file")
    folder = write_folder(tmp_path)
    check(refusal(folder / "thigh.csv"), "thigh.csv: found a single file; expected a folder with setup.toml")
    (folder / "thigh.csv").unlink()
    check(refusal(folder), "thigh.csv: no such table; expected one of calf.csv")


def test_setup_that_is_not_utf8(tmp_path):
    folder = write_folder(tmp_path)
    (folder / "setup.toml").write_bytes('title = "Bögen"\n'.encode("latin-1"))
    check(refusal(folder), "setup.toml: byte 10 is not UTF-8; save the file as UTF-8 text")


TEXT_FAULTS = {
    "empty": (b"", "cannot be read as a table: Empty CSV file"),
    "header only": (b"time_s,ax\n", "the table has a header but no rows"),
    "short row": (b"time_s,ax\n0,1\n1\n", "cannot be read as a table", "Row #3: Expected 2 columns, got 1"),
    "header not UTF-8": ("time_s,a°x\n0,1\n".encode("latin-1"), "is not UTF-8; save the table as UTF-8 text"),
}


@pytest.mark.parametrize("fault", TEXT_FAULTS)
def test_fault_in_the_text_of_a_table(tmp_path, fault):
    content, *fragments = TEXT_FAULTS[fault]
    (tmp_path / "thigh.csv").write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_table(tmp_path / "thigh.csv")
    check(str(caught.value), str(tmp_path / "thigh.csv"), *fragments)


@pytest.mark.parametrize("name", ["thigh.csv.gz", "thigh.parquet"])
def test_damaged_table(tmp_path, name):
    whole = tmp_path / name
    write_table(whole, {"time_s": np.arange(500) / 7, "ax": np.sin(np.arange(500))})
    whole.write_bytes(whole.read_bytes()[:-40])
    with pytest.raises(InputError, match="cannot be read as a table"):
        read_table(whole)


def test_semicolons_for_commas(tmp_path):
    folder = write_folder(tmp_path)
    (folder / "thigh.csv").write_text("time_s;ax;ay\n" + "0;1;2\n" * 20)
    check(
        refusal(folder),
        "no column 'az'",
        "expected one of time_s, ax, ay",
    )


def test_hints_stand_only_where_they_apply(tmp_path):
    (tmp_path / "t.csv").write_text("time_s,ax\n0,oops\n")
    table = read_table(tmp_path / "t.csv")
    with pytest.raises(InputError, match=r"t\.csv: no column 'ay'; expected one of time_s, ax$"):
        table.numbers("ay")
    with pytest.raises(InputError, match=r"found 'oops'; expected a number or an empty cell$"):
        table.numbers("ax")
    (tmp_path / "one.csv").write_text("time_s\n0\n")
    with pytest.raises(InputError, match=r"no column 'ay'; expected one of time_s$"):
        read_table(tmp_path / "one.csv").numbers("ay")
    with pytest.raises(InputError, match=r"no such table; the folder holds none$"):
        read_table(tmp_path / "folder" / "t.csv")


def test_column_that_stands_twice(tmp_path):
    (tmp_path / "t.csv").write_text("time_s,ax,ax\n0,1,2\n")
    with pytest.raises(
        InputError, match=r"column 'ax': stands twice in the header \(named by units\.u\.time\)"
    ):
        read_table(tmp_path / "t.csv").numbers("ax", "units.u.time")


# the body model

KNEE = 'parent = "r_thigh"\nchild = "r_calf"'
BALL = 'type = "ball"'
MODEL_FAULTS = {
    "unknown key": (
        "name = ",
        "nam = ",
        "leg.toml: nam: unknown key 'nam'; expected one of",
        "did you mean 'name'?",
    ),
    "unknown key of a segment": (
        "length_m",
        "lenght_m",
        "segments.r_thigh.lenght_m: unknown key",
        "did you mean 'length_m'?",
    ),
    "unknown key of a joint": (
        "range_deg",
        "range_degrees",
        "joints.r_knee.range_degrees: unknown key",
        "did you mean 'range_deg'?",
    ),
    "unknown angle of a range": (
        "flexion = [-5",
        "flection = [-5",
        "joints.r_knee.range_deg.flection: unknown key 'flection'; expected one of flexion, adduction",
        "did you mean 'flexion'?",
    ),
    "unknown angle of a stiffness": (
        "adduction = 3.0",
        "abduction = 3.0",
        "stiffness.abduction: unknown",
        "adduction",
    ),
    "range upside down": (
        "[-5, 150]",
        "[150, -5]",
        "range_deg.flexion: found [150, -5]; expected [low, high] in deg",
    ),
    "range of one number": (
        "[-5, 150]",
        "[150]",
        "range_deg.flexion: found [150]; expected a list of 2 numbers",
    ),
    "stiffness of zero": ("3.0", "0.0", "stiffness.adduction: found 0.0; expected a standard deviation"),
    "negative length": ("length_m = 0.42", "length_m = -0.42", "r_thigh.length_m: found -0.42; expected a"),
    "mass is text": (
        "length_m = 0.42",
        'mass_kg = "8"',
        "segments.r_thigh.mass_kg: found '8'; expected a mass above 0",
    ),
    "short centre of mass": (
        "length_m = 0.42",
        "com_m = [0, 1]",
        "r_thigh.com_m: found [0, 1]; expected a list of 3",
    ),
    "inertia of two numbers": (
        "length_m = 0.42",
        "inertia_kgm2 = [1, 2]",
        "inertia_kgm2: found [1, 2]; expected [Ixx, Iyy, Izz] or a symmetric 3 by 3 matrix",
    ),
    "inertia is text": (
        "length_m = 0.42",
        'inertia_kgm2 = "big"',
        "inertia_kgm2: found 'big'; expected [Ixx",
    ),
    "lopsided inertia": (
        "length_m = 0.42",
        "inertia_kgm2 = [[1, 2, 0], [0, 1, 0], [0, 0, 1]]",
        "a symmetric 3 by 3",
    ),
    "inertia of no body": (
        "length_m = 0.42",
        "inertia_kgm2 = [1.0, 1.0, 5.0]",
        "expected principal moments above 0, the largest at most the sum of the other two",
    ),
    "inertia of nothing": (
        "length_m = 0.42",
        "inertia_kgm2 = [0, 0, 0]",
        "expected principal moments above 0",
    ),
    "no such mesh": (
        "length_m = 0.42",
        'mesh = "bone.stl"',
        "r_thigh.mesh: found 'bone.stl'; expected a mesh file",
    ),
    "share of one sex": (
        "length_m = 0.42",
        "length_of_stature = { male = 0.24 }",
        "segments.r_thigh.length_of_stature.female: this key is missing; expected a share for each sex",
    ),
    "share of an unknown sex": (
        "length_m = 0.42",
        "mass_of_body = { man = 0.1 }",
        "mass_of_body.man: unknown key",
    ),
    "negative share": ("length_m = 0.42", "mass_of_body = -0.1", "mass_of_body: found -0.1; expected a sh"),
    "share of two numbers": (
        "length_m = 0.42",
        "com_of_length = [0, 1]",
        "com_of_length: found [0, 1]; expected a li",
    ),
    "no segments": (
        "[segments.r_thigh]\nlength_m = 0.42\n\n[segments.r_calf]\n",
        "",
        "segments: this key is missing",
    ),
    "unusable name": (
        "[segments.r_calf]",
        '[segments."r calf"]',
        "segments.r calf: the name 'r calf' is not usable",
    ),
    "unknown parent": (
        'parent = "r_thigh"',
        'parent = "thigh"',
        "joints.r_knee.parent: found 'thigh'; expected one of r_thigh, r_calf; did you mean 'r_thigh'?",
    ),
    "unknown child": ('child = "r_calf"', 'child = "calf"', "joints.r_knee.child: found 'calf'", "'r_calf'?"),
    "no parent": (
        'parent = "r_thigh"\n',
        "",
        "joints.r_knee.parent: this key is missing; expected a segment's name",
    ),
    "unknown type": (
        BALL,
        'type = "hing"',
        "joints.r_knee.type: found 'hing'; expected one of hinge, universal, ball",
    ),
    "axis on a ball": (
        BALL,
        f"{BALL}\naxis = [1, 0, 0]",
        "r_knee.axis: only a hinge has one axis, this joint is 'ball'",
    ),
    "axis of zero": (
        BALL,
        'type = "hinge"\naxis = [0, 0, 0]',
        "r_knee.axis: found [0, 0, 0]; expected a direction",
    ),
    "short axis": (
        BALL,
        'type = "hinge"\naxis = [1, 0]',
        "r_knee.axis: found [1, 0]; expected a list of 3 numbers",
    ),
    "sequence in small letters": (
        BALL,
        'sequence = "zxy"',
        "r_knee.sequence: found 'zxy'; expected three intrinsic axes",
    ),
    "sequence that repeats": (
        BALL,
        'sequence = "ZZY"',
        "r_knee.sequence: found 'ZZY'",
        "neighbours different",
    ),
    "sequence that repeats late": (BALL, 'sequence = "ZXX"', "r_knee.sequence: found 'ZXX'"),
    "sequence of two": (BALL, 'sequence = "ZX"', "r_knee.sequence: found 'ZX'"),
    "sequence of four": (BALL, 'sequence = "ZXYX"', "r_knee.sequence: found 'ZXYX'"),
    "sequence without names": (
        BALL,
        'sequence = "YXY"',
        "joints.r_knee.angles: this key is missing; expected names for the three rotations of",
        "the sequence YXY",
    ),
    "two angles": (
        BALL,
        'angles = ["flexion", "adduction"]',
        "r_knee.angles: found",
        "expected 3 different names",
    ),
    "sign of two": (
        BALL,
        "signs = [2, 1, 1]",
        "r_knee.signs: found [2, 1, 1]; expected three numbers, each 1 or -1",
    ),
    "short centre": (
        "[0.0, -0.42, 0.0]",
        "[0.42]",
        "r_knee.centre_in_parent_m: found [0.42]; expected a list of 3",
    ),
    "two roots": (
        "[segments.r_calf]",
        "[segments.r_calf]\n[segments.pelvis]",
        "leg.toml: model 'leg': found 2 roots (r_thigh, pelvis), expected one segment",
    ),
    "cycle": (
        "[joints.r_knee]",
        '[joints.back]\nparent = "r_calf"\nchild = "r_thigh"\n[joints.r_knee]',
        "leg.toml: model 'leg': joints back, r_knee form a cycle, expected a tree",
    ),
    "two parents": (
        "[joints.r_knee]",
        '[joints.again]\nparent = "r_thigh"\nchild = "r_calf"\n[joints.r_knee]',
        "leg.toml: model 'leg': joints again and r_knee both have the child 'r_calf'",
    ),
    "not TOML": ("[joints.r_knee]", "[joints.r_knee", "leg.toml: not valid TOML", "line 8"),
}


@pytest.mark.parametrize("fault", MODEL_FAULTS)
def test_fault_in_a_model(tmp_path, fault):
    old, new, *fragments = MODEL_FAULTS[fault]
    check(refusal(write_folder(tmp_path, model=[(old, new)])), *fragments, str(tmp_path / "leg.toml"))


def test_unknown_model_name_lists_the_names():
    with pytest.raises(
        InputError, match=r"^no body model 'right_arn'.*right_arm.*did you mean 'right_arm'\?"
    ):
        read_model("right_arn")


# writing


def test_capture_written_where_a_file_stands(tmp_path):
    capture = read_capture(write_folder(tmp_path))
    with pytest.raises(OutputError, match=r"setup.toml.*can't be made: .*choose another folder"):
        write_capture(capture, tmp_path / "setup.toml")


def test_failed_write_leaves_nothing_behind(tmp_path):
    model = read_capture(write_folder(tmp_path)).model
    (out := tmp_path / "out").mkdir()
    for name in ("body.toml", "thigh.csv", "thigh.csv.gz", "thigh.parquet"):
        (out / name).mkdir()
    with pytest.raises(OutputError, match=r"body.toml: cannot be written: Is a directory; choose a folder"):
        write_model(model, out / "body.toml")
    for name in ("thigh.csv", "thigh.csv.gz", "thigh.parquet"):
        with pytest.raises(OutputError, match=f"{name}: cannot be written"):
            write_table(out / name, {"time_s": np.arange(5.0)})
    assert sorted(path.name for path in out.iterdir()) == [
        "body.toml",
        "thigh.csv",
        "thigh.csv.gz",
        "thigh.parquet",
    ]
    with pytest.raises(OutputError, match="no: cannot be written: No such file"):
        write_model(model, tmp_path / "none" / "no")
    shutil.rmtree(out)


def test_unknown_table_kind_to_write(tmp_path):
    capture = read_capture(write_folder(tmp_path))
    with pytest.raises(
        InputError, match=r"table_kind: found '\.parket'; expected one of .*did you mean '\.parquet'"
    ):
        write_capture(capture, tmp_path / "out", ".parket")


def test_suggest_names_the_near_word_only_when_one_is_near():
    assert (
        suggest("segmnt", ["segment", "table"]) == "expected one of segment, table; did you mean 'segment'?"
    )
    assert suggest("colour", ["segment", "table"]) == "expected one of segment, table"
