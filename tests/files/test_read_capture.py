"""Captures read from folders: values, units and frames against numbers known otherwise, and written back."""

from __future__ import annotations

import dataclasses
import shutil
import subprocess
import sys
import time as clock
import tomllib
import weakref
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import scipy.constants
from capture_files import calf_columns, known, thigh_columns, with_value, write_folder
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.parts import Joint, Segment
from bodyfit.body.person import Person
from bodyfit.files.capture import table_shelf
from bodyfit.files.capture.folder import read_capture
from bodyfit.files.capture.sensor_samples import SENSOR_UNITS
from bodyfit.files.capture.writer import write_capture
from bodyfit.files.plain.tables import KINDS, read_table, write_table
from bodyfit.files.plain.toml_writer import toml_section
from bodyfit.recording.capture import SENSORS, Calibration, Capture, Place, Unit

RECORDINGS = Path(__file__).resolve().parents[2].parent / "shared" / "data"
THIGH = thigh_columns()


def recordings() -> list[str]:
    return sorted(path.parent.name for path in RECORDINGS.glob("*/setup.toml"))


def test_every_key_of_a_setup_is_read(tmp_path):
    capture = read_capture(write_folder(tmp_path))
    assert capture.title == "Thigh and calf"
    assert capture.start_time == datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert capture.place == Place(47.1, 9.5, 450.0)
    assert capture.person == Person(1.72, 64.0, "female")
    assert capture.calibrations == (Calibration("still", 0.1, 0.4),)
    assert capture.model.name == "leg"
    thigh, calf = capture.units["thigh_unit"], capture.units["calf_unit"]
    assert (thigh.segment, calf.segment) == ("r_thigh", "r_calf")
    assert thigh.sensors == set(SENSORS)
    assert calf.sensors == {"accelerometer", "gyroscope"}
    np.testing.assert_array_equal(thigh.mounting, [0, 0, 0, 1])
    np.testing.assert_array_equal(thigh.position, [0.05, -0.02, -0.15])
    assert calf.mounting is None
    assert calf.position is None


SMALLEST = """\
[body]
model = "leg.toml"
[units.only]
table = "calf.csv"
sampling_frequency = 50
gyroscope = { columns = ["gx", "gy", "gz"], unit = "rad/s" }
"""


def test_smallest_setup_is_read_and_written_back(tmp_path):
    folder = write_folder(tmp_path)
    (folder / "setup.toml").write_text(SMALLEST)
    first = read_capture(folder)
    write_capture(first, folder / "again")
    for capture in (first, read_capture(folder / "again")):
        assert (capture.title, capture.source, capture.calibrations) == ("", "", ())
        assert (capture.person, capture.place, capture.start_time) == (None, None, None)
        assert capture.units["only"].sensors == {"gyroscope"}
        assert (capture.units["only"].segment, capture.units["only"].full_scale) == (None, {})
        assert capture.units["only"].time[-1] == pytest.approx(59 / 50)


@pytest.mark.parametrize("name", ["3", "1_a", "left-calf", "Fuß"])
def test_name_of_a_unit_and_of_a_segment(tmp_path, name):
    setup = [("[units.thigh_unit]", f'[units."{name}"]'), ("r_thigh", name)]
    model = [("[segments.r_thigh]", f'[segments."{name}"]'), ('"r_thigh"', f'"{name}"')]
    capture = read_capture(write_folder(tmp_path, setup=setup, model=model))
    write_capture(capture, tmp_path / "again")
    for one in (capture, read_capture(tmp_path / "again")):
        assert list(one.units) == [name, "calf_unit"]
        assert list(one.model.segments) == [name, "r_calf"]


def test_place_without_a_height_is_at_sea_level(tmp_path):
    assert read_capture(write_folder(tmp_path, setup=[(", height_m = 450", "")])).place == Place(
        47.1, 9.5, 0.0
    )


def test_samples_and_full_scale_are_in_si(tmp_path):
    capture = read_capture(write_folder(tmp_path))
    thigh, calf = capture.units["thigh_unit"], capture.units["calf_unit"]
    np.testing.assert_allclose(known(thigh.gyroscope)[5], [0, np.deg2rad(20), 0], rtol=1e-15)
    np.testing.assert_allclose(known(thigh.magnetometer)[5], [20e-6, -43e-6, 0], rtol=1e-12)
    np.testing.assert_allclose(known(calf.accelerometer)[5], [0, scipy.constants.g, 0], rtol=1e-15)
    assert thigh.full_scale == {"accelerometer": 157.0, "gyroscope": pytest.approx(34.906585, rel=1e-7)}
    assert not thigh.magnetometer_is_arbitrary


# standard gravity and the degree: CODATA through scipy.constants; gauss: SI Brochure, 8th edition, table 9
# (1 G corresponds to 1e-4 T; from memory)
FACTORS = {
    ("accelerometer", "m/s^2"): 1.0,
    ("accelerometer", "g"): scipy.constants.g,
    ("accelerometer", "mg"): scipy.constants.g * scipy.constants.milli,
    ("accelerometer", "cm/s^2"): scipy.constants.centi,
    ("gyroscope", "rad/s"): 1.0,
    ("gyroscope", "deg/s"): scipy.constants.degree,
    ("gyroscope", "mdeg/s"): scipy.constants.degree * scipy.constants.milli,
    ("magnetometer", "T"): 1.0,
    ("magnetometer", "uT"): scipy.constants.micro,
    ("magnetometer", "nT"): scipy.constants.nano,
    ("magnetometer", "G"): 1e-4,
    ("magnetometer", "mG"): 1e-4 * scipy.constants.milli,
    ("magnetometer", "arbitrary"): 1.0,
}
COLUMNS = {"accelerometer": "ax ay az", "gyroscope": "gx gy gz", "magnetometer": "mx my mz"}
USUAL = {"accelerometer": 9.8, "gyroscope": 3.0, "magnetometer": 45e-6}


def test_every_unit_with_a_known_factor_is_accepted():
    accepted = {(sensor, unit) for sensor, units in SENSOR_UNITS.items() for unit in units if unit}
    assert accepted == set(FACTORS)


@pytest.mark.parametrize(("sensor", "unit"), FACTORS)
@settings(max_examples=10, deadline=None, derandomize=True)
@given(
    direction=st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: np.linalg.norm(v) > 0.3),
    size=st.floats(0.8, 1.3),
)
def test_unit_of_a_sensor(tmp_path_factory, sensor, unit, direction, size):
    folder = tmp_path_factory.mktemp("units")
    names, factor = COLUMNS[sensor].split(), FACTORS[sensor, unit]
    expected = USUAL[sensor] * size * np.array(direction) / np.linalg.norm(direction)
    table = {
        "time_s": THIGH["time_s"],
        **{n: np.full(60, v / factor) for n, v in zip(names, expected, strict=True)},
    }
    pd.DataFrame(table).to_parquet(folder / "one.parquet")
    keys = {"table": "one.parquet", "time": "time_s", sensor: {"columns": names, "unit": unit}}
    write_folder(folder)
    text = toml_section("[body]", {"model": "leg.toml"}) + toml_section("[units.one]", keys)
    (folder / "setup.toml").write_text(text)
    one = read_capture(folder).units["one"]
    np.testing.assert_allclose(getattr(one, sensor)[7], expected, rtol=1e-14)
    assert one.magnetometer_is_arbitrary == (unit == "arbitrary")


def test_orientation_in_a_world_with_z_up_is_turned_to_y_up(tmp_path):
    turns = Rotation.from_quat(np.random.default_rng(1).normal(size=(60, 4)))  # world_from_unit, world Z up
    force = turns.inv().apply([0.0, 0.0, 9.81])  # at rest in every pose
    columns: dict[str, object] = dict(zip(("qx", "qy", "qz", "qw"), turns.as_quat().T, strict=True))
    columns |= dict(zip(("ax", "ay", "az"), force.T, strict=True))
    up = [('"qx", "qy", "qz", "qw"]', '"qx", "qy", "qz", "qw"], up = "z"')]
    unit = read_capture(write_folder(tmp_path, setup=up, thigh=columns)).units["thigh_unit"]
    read = Rotation.from_quat(unit.orientation)
    np.testing.assert_allclose(read.apply(unit.accelerometer), np.tile([0, 9.81, 0], (60, 1)), atol=1e-9)
    for vector in np.eye(3):
        x, y, z = turns.apply(vector).T
        np.testing.assert_allclose(read.apply(vector), np.column_stack([x, z, -y]), atol=1e-12)


def test_orientation_in_a_world_with_y_up_stays(tmp_path):
    unit = read_capture(write_folder(tmp_path)).units["thigh_unit"]
    turn = Rotation.from_quat(known(unit.orientation)[50]).as_rotvec()
    np.testing.assert_allclose(turn, [0, np.deg2rad(20 * 0.5), 0], atol=1e-12)


def test_quaternions_are_renormalised_within_the_tolerance(tmp_path):
    columns = {name: THIGH[name] * 1.005 for name in ("qx", "qy", "qz", "qw")}
    setup = [("[0.0, 0.0, 0.0, 1.0]", "[0.0, 0.0, 0.0, 1.005]")]
    unit = read_capture(write_folder(tmp_path, setup=setup, thigh=columns)).units["thigh_unit"]
    np.testing.assert_allclose(np.linalg.norm(known(unit.orientation), axis=1), 1, rtol=1e-15)
    np.testing.assert_array_equal(unit.mounting, [0, 0, 0, 1])


def test_missing_samples_stay_as_nan_rows_of_their_sensor(tmp_path):
    thigh = {"ay": with_value(THIGH["ay"], 4, None), "gx": with_value(THIGH["gx"], 5, "nan")}
    thigh |= {"mz": [None] * 40 + [1.0] * 20, "qw": with_value(THIGH["qw"], 59, "")}
    unit = read_capture(write_folder(tmp_path, thigh=thigh)).units["thigh_unit"]
    missing = {
        sensor: np.flatnonzero(np.isnan(getattr(unit, sensor)).all(axis=1)).tolist() for sensor in SENSORS
    }
    assert missing == {
        "accelerometer": [4],
        "gyroscope": [5],
        "magnetometer": list(range(40)),
        "orientation": [59],
    }
    for sensor in SENSORS:
        partly = np.isnan(getattr(unit, sensor)).any(axis=1)
        assert partly.sum() == len(missing[sensor])
    assert len(unit.time) == 60


def test_sampling_frequency_makes_the_time(tmp_path):
    unit = read_capture(write_folder(tmp_path)).units["calf_unit"]
    np.testing.assert_allclose(unit.time, np.arange(60) * 0.01, rtol=1e-15)


def test_repeated_stamps_of_a_coarse_clock_are_spread_and_rows_logged_twice_dropped(tmp_path):
    columns = {name: np.tile(values, 5) for name, values in THIGH.items()}  # 300 rows: one repeat is 0.3 %
    columns["time_s"] = np.arange(300) / 100
    columns["time_s"][101] = 1.0  # the same stamp for two samples
    columns["gy"][101] = 21.0
    for name in columns:
        columns[name][201] = columns[name][200]  # the same row twice
    folder = write_folder(tmp_path)
    pd.DataFrame(columns).to_csv(folder / "thigh.csv", index=False)
    capture = read_capture(folder)
    unit = capture.units["thigh_unit"]
    assert len(unit.time) == 299
    np.testing.assert_allclose(unit.time[99:104], [0.99, 1.0, 1.01, 1.02, 1.03])
    np.testing.assert_allclose(unit.time[199:203], [1.99, 2.0, 2.02, 2.03])
    assert known(unit.gyroscope)[101, 1] == pytest.approx(np.deg2rad(21))
    (note,) = capture.notes
    assert note.kind == "stamps-repeated" and note.units == ("thigh_unit",) and note.start == 1.0
    assert note.what == (
        "thigh.csv: column 'time_s': 2 rows repeat the time stamp before them (first: row 102, t = 1.000 s)"
    )
    assert note.handled.startswith("1 that repeat the samples too were dropped")


def test_setup_file_itself_is_a_path(tmp_path):
    folder = write_folder(tmp_path)
    assert read_capture(folder / "setup.toml").title == read_capture(str(folder)).title == "Thigh and calf"


def test_units_may_share_one_table(tmp_path):
    setup = [('table = "calf.csv"', 'table = "thigh.csv"'), ('unit = "g"', 'unit = "m/s^2"')]
    units = read_capture(write_folder(tmp_path, setup=setup)).units
    np.testing.assert_array_equal(units["thigh_unit"].accelerometer, units["calf_unit"].accelerometer)


def test_a_table_is_read_once_and_let_go_when_no_later_unit_asks_for_it(tmp_path, monkeypatch):
    read, held = [], []

    def reading(path, dialect):
        read.append(path.name)
        held.append(sum(one() is not None for one in tables))
        tables.append(weakref.ref(table := read_table(path, dialect)))
        return table

    tables = list[weakref.ref]()
    monkeypatch.setattr(table_shelf, "read_table", reading)
    own = read_capture(write_folder(tmp_path))
    assert read == ["thigh.csv", "calf.csv"] and held == [0, 0]
    assert own.files is not None and set(own.files.sha256) == {"setup.toml", "thigh.csv", "calf.csv"}
    read.clear()
    setup = [('table = "calf.csv"', 'table = "thigh.csv"'), ('unit = "g"', 'unit = "m/s^2"')]
    read_capture(write_folder(tmp_path, setup=setup))
    assert read == ["thigh.csv"]


def test_unit_without_a_segment_is_read(tmp_path):
    capture = read_capture(write_folder(tmp_path, setup=[('segment = "r_calf"\n', "")]))
    assert capture.units["calf_unit"].segment is None


@pytest.mark.parametrize("kind", KINDS)
def test_table_kinds_as_pandas_writes_them(tmp_path, kind):
    frame = pd.DataFrame({"time_s": np.arange(20) / 7, "count": range(20), "ax": np.sin(np.arange(20.0))})
    frame.loc[3, "ax"] = np.nan
    path = tmp_path / f"table{kind}"
    if kind == ".parquet":
        frame.to_parquet(path)
    else:
        frame.to_csv(path, sep="\t" if ".tsv" in kind else ",", index=False)
    table = read_table(path)
    assert set(frame.columns) <= set(table.names)
    for name in frame.columns:
        np.testing.assert_array_equal(table.numbers(name), frame[name].to_numpy(float))


def test_text_tables_of_other_programs(tmp_path):
    path = tmp_path / "table.csv"
    path.write_bytes("\ufefftime_s, ax ,note\r\n0, 1.5,start\r\n\r\n0.5,+2e-1,\r\n1.0, ,end\r\n".encode())
    table = read_table(path)
    np.testing.assert_array_equal(table.numbers("time_s"), [0, 0.5, 1])
    np.testing.assert_array_equal(table.numbers("ax"), [1.5, 0.2, np.nan])


def test_numbers_kept_as_text_in_parquet_are_read(tmp_path):
    pd.DataFrame({"ax": ["1.5", None, " ", "2"]}).to_parquet(tmp_path / "t.parquet")
    np.testing.assert_array_equal(read_table(tmp_path / "t.parquet").numbers("ax"), [1.5, np.nan, np.nan, 2])


def test_text_tables_are_no_longer_than_the_digits_asked_for(tmp_path):
    write_table(tmp_path / "t.csv", {"a": np.array([np.pi, -0.01 * np.pi, np.nan])}, digits=4)
    assert (tmp_path / "t.csv").read_text() == "a\n3.142\n-0.031\n\n"


@pytest.mark.parametrize("kind", KINDS)
def test_pandas_reads_the_tables_we_write(tmp_path, kind):
    columns = {"time_s": np.arange(50) / 100, "ax": np.random.default_rng(0).normal(size=50) * 1e-5}
    columns["ax"][7] = np.nan
    path = tmp_path / f"table{kind}"
    write_table(path, columns)
    read = (
        pd.read_parquet(path)
        if kind == ".parquet"
        else pd.read_csv(path, sep="\t" if "t" in kind[:2] else ",")
    )
    for name, values in columns.items():
        np.testing.assert_allclose(read[name].to_numpy(), values, rtol=1e-15)


@given(
    values=st.lists(st.floats(-1e9, 1e9).filter(lambda v: v == 0 or abs(v) > 1e-9), min_size=1, max_size=20),
    digits=st.integers(3, 12),
)
@settings(max_examples=50, deadline=None, derandomize=True)
def test_text_tables_keep_the_digits_asked_for(tmp_path_factory, values, digits):
    path = tmp_path_factory.mktemp("digits") / "t.csv"
    write_table(path, {"a": np.array(values)}, digits)
    largest = max(map(abs, values))
    last_place = 10.0 ** (np.floor(np.log10(largest)) - digits + 1) if largest else 0.0
    np.testing.assert_allclose(
        read_table(path).numbers("a"), values, rtol=1e-15, atol=0.5 * last_place * 1.001
    )


def full_capture() -> Capture:
    """Two units of every sensor, gaps, another clock each, everything optional given."""
    rng = np.random.default_rng(7)
    turns = Rotation.from_rotvec(rng.normal(size=(80, 3)) * 0.3)
    force = turns.inv().apply([0.0, 9.81, 0.0])
    full = {"accelerometer": 156.9064, "gyroscope": 34.906585039886591}
    one = Unit(
        "one",
        "upper",
        0.013 + np.arange(80) / 99.7,
        accelerometer=force,
        gyroscope=rng.normal(size=(80, 3)),
        magnetometer=rng.normal(size=(80, 3)) * 1e-6 + 30e-6,
        orientation=turns.as_quat(),
        mounting=Rotation.from_rotvec([0.1, -0.2, 0.3]).as_quat(),
        position=np.array([0.01, 0.02, -0.03]),
        full_scale=full,
    )
    assert one.gyroscope is not None
    one.gyroscope[11] = np.nan
    other = dataclasses.replace(
        one, name="other", segment=None, orientation=None, mounting=None, full_scale={}
    )
    other = dataclasses.replace(other, magnetometer=rng.normal(size=(80, 3)), magnetometer_is_arbitrary=True)
    model = BodyModel(
        "arm", {"upper": Segment("upper"), "lower": Segment("lower")}, {"j": Joint("j", "upper", "lower")}
    )
    return Capture(
        {"one": one, "other": other},
        model,
        title='Quotes " and \\ and umläuts',
        person=Person(1.8, None, "male"),
        place=Place(51.5, -0.1, 12.5),
        start_time=datetime(2026, 3, 1, 10, 0, 0, 250000, tzinfo=UTC),
        calibrations=(Calibration("still", 0.05, 0.3), Calibration("still", 0.4, 0.7)),
        source="invented",
    )


@pytest.mark.parametrize(("kind", "tolerance"), [(".parquet", 1e-15), (".csv.gz", 1e-8), (".tsv", 1e-8)])
def test_written_capture_is_read_back(tmp_path, kind, tolerance):
    capture = full_capture()
    write_capture(capture, tmp_path / "new" / "folder", kind)
    read = read_capture(tmp_path / "new" / "folder")
    for key in ("title", "person", "place", "start_time", "calibrations", "source"):
        assert getattr(read, key) == getattr(capture, key)
    assert list(read.units) == ["one", "other"]
    for name, unit in capture.units.items():
        back = read.units[name]
        assert back.sensors == unit.sensors
        assert (back.segment, back.full_scale) == (unit.segment, unit.full_scale)
        assert back.magnetometer_is_arbitrary == unit.magnetometer_is_arbitrary
        for key in ("time", *unit.sensors):
            scale = np.nanmax(np.abs(getattr(unit, key)))
            np.testing.assert_allclose(getattr(back, key), getattr(unit, key), rtol=0, atol=scale * tolerance)
    np.testing.assert_allclose(
        known(read.units["one"].mounting), known(capture.units["one"].mounting), rtol=1e-15
    )
    np.testing.assert_array_equal(read.units["one"].position, [0.01, 0.02, -0.03])


def test_every_digit_is_written_when_asked(tmp_path):
    capture = full_capture()
    write_capture(capture, tmp_path, ".csv", digits=None)
    read = read_capture(tmp_path)
    np.testing.assert_array_equal(read.units["one"].gyroscope, capture.units["one"].gyroscope)


def test_a_named_model_is_not_written_again(tmp_path):
    capture = full_capture()
    units = {"one": dataclasses.replace(capture.units["one"], segment="r_forearm")}
    write_capture(dataclasses.replace(capture, units=units), tmp_path, model="right_arm")
    assert not (tmp_path / "body.toml").exists()
    assert read_capture(tmp_path).model.name == "right_arm"


def test_the_same_capture_writes_the_same_bytes(tmp_path):
    for name in ("a", "b"):
        write_capture(full_capture(), tmp_path / name)
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()


VALUES = st.text(min_size=1) | st.integers() | st.floats(allow_nan=False) | st.booleans()


@given(st.dictionaries(st.text(max_size=8), VALUES, max_size=5))
@settings(derandomize=True)
def test_written_text_is_toml(values):
    read = tomllib.loads(toml_section("", values))
    assert read == values
    assert all(type(read[key]) is type(value) for key, value in values.items())


def test_fifteen_units_of_a_minute_are_read_in_under_a_second(tmp_path):
    rng, names = np.random.default_rng(0), [f"unit_{k}" for k in range(15)]
    samples = rng.normal(size=(6000, 9)) + np.repeat([0, 9.8, 0, 0, 0, 0, 30, 0, 0], 1)
    columns = {"time_s": np.arange(6000) / 100, **{f"c{k}": samples[:, k] for k in range(9)}}
    write_table(tmp_path / "unit_0.csv.gz", columns, digits=8)
    text = toml_section("[body]", {"model": "whole_body"})
    for name in names:
        if name != "unit_0":
            shutil.copy(tmp_path / "unit_0.csv.gz", tmp_path / f"{name}.csv.gz")
        keys: dict[str, object] = {"table": f"{name}.csv.gz", "time": "time_s"}
        for k, (sensor, unit) in enumerate(
            (("accelerometer", "m/s^2"), ("gyroscope", "rad/s"), ("magnetometer", "uT"))
        ):
            keys[sensor] = {"columns": [f"c{3 * k + axis}" for axis in range(3)], "unit": unit}
        text += toml_section(f"[units.{name}]", keys)
    (tmp_path / "setup.toml").write_text(text)
    start = clock.perf_counter()
    capture = read_capture(tmp_path)
    assert clock.perf_counter() - start < 1.0
    assert len(capture.units) == 15


def test_import_leaves_the_table_library_for_later():
    code = "import sys, bodyfit.files.capture.folder; print({'pandas', 'pyarrow'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


NEEDS_RECORDINGS = pytest.mark.skipif(
    not RECORDINGS.is_dir(), reason="the real recordings (../shared/data) are not on this machine"
)


@NEEDS_RECORDINGS
@pytest.mark.parametrize("name", recordings())
def test_real_recording_holds_what_its_tables_hold(name):
    setup = tomllib.loads((RECORDINGS / name / "setup.toml").read_text())
    capture = read_capture(RECORDINGS / name)
    assert list(capture.units) == list(setup["units"])
    for unit, keys in zip(capture.units.values(), setup["units"].values(), strict=True):
        path = RECORDINGS / name / keys["table"]
        frame = pd.read_parquet(path) if path.suffix == ".parquet" else pd.read_csv(path)
        first = frame[~frame[keys["time"]].duplicated()]  # pendulum_long repeats three stamps a unit
        rows = np.searchsorted(unit.time, first[keys["time"]] - 1e-9)
        assert np.all(np.diff(unit.time) > 0)
        assert len(first) <= len(unit.time) <= len(frame)
        np.testing.assert_allclose(unit.time[rows], first[keys["time"]], rtol=0, atol=1e-12)
        for sensor in ("accelerometer", "gyroscope"):
            np.testing.assert_allclose(
                getattr(unit, sensor)[rows], first[keys[sensor]["columns"]], rtol=1e-12
            )


@NEEDS_RECORDINGS
def test_real_field_in_microtesla_is_read_as_tesla():
    capture = read_capture(RECORDINGS / "single_01_undisturbed_slow_rotation_A")
    length = np.linalg.norm(known(capture.units["unit"].magnetometer), axis=1)
    assert 22e-6 < np.median(length) < 67e-6  # the Earth's field on the ground: World Magnetic Model


def test_calf_at_rest_keeps_its_rate(tmp_path):
    unit = read_capture(write_folder(tmp_path)).units["calf_unit"]
    np.testing.assert_array_equal(known(unit.gyroscope)[:, 0], calf_columns()["gx"])
