"""What nobody means to give: numbers, names, files and streams beyond all use end in a refusal by name."""

from __future__ import annotations

import builtins
import gzip
import io
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
import warnings
from pathlib import Path

import numpy as np
import pytest
from capture_files import calf_columns, known, thigh_columns, with_value, write_folder
from click.testing import CliRunner

from bodyfit import fit, read_capture
from bodyfit.calibration.sensors.impossible import without_impossible
from bodyfit.calibration.sensors.soundness import sound
from bodyfit.commands.main import main
from bodyfit.errors import InputError
from bodyfit.files.capture.amount import check_amount
from bodyfit.files.scene.mesh_file import check_mesh_file
from bodyfit.recording.capture import Unit

THIGH, CALF = thigh_columns(), calf_columns()
ROOT = Path(__file__).resolve().parents[2]
ANGLES = ('type = "ball"', 'type = "ball"\nsequence = "ZXY"\nangles = ["{}", "b", "c"]')
BARE = [
    ('range_deg = { flexion = [-5, 150] }\nrange_source = "a table"\nstiffness = { adduction = 3.0 }\n', "")
]
LENGTH = "length_m = 0.42"


def angle(name: str) -> list[tuple[str, str]]:
    return [(ANGLES[0], ANGLES[1].format(name)), *BARE]


STATURE = "stature_m = 1.72"
SETUPS = {
    "400 digits": (STATURE, "stature_m = " + "9" * 400, "person.stature_m: found 9999"),
    "5000 digits": (STATURE, "stature_m = " + "9" * 5000, "not valid TOML"),
    "hexadecimal": (STATURE, "stature_m = 0x" + "f" * 9000, "person.stature_m: found int too"),
    "500 lists inside each other": (STATURE, "stature_m = " + "[" * 500 + "]" * 500, "too deep"),
    "a key of many parts": (STATURE, "a" + ".a" * 5000 + " = 1", "a key of over 100 parts"),
    "skipped lines": ('time = "time_s"', 'time = "time_s"\nskip_rows = 1e300', "skip_rows: found 1e+300"),
    "a table's long name": ("thigh.csv", "a" * 300 + ".csv", "File name too long"),
    "a model's long name": ("leg.toml", "a" * 300 + ".toml", "File name too long"),
    "a rate near zero": ("= 100.0", "= 1e-308", "expected samples a second, above 0: 2 to 20000"),
    "a rate near infinity": ("= 100.0", "= 1e308", "expected samples a second"),
    "the year 9999": ("2026-03-01T10:00:00Z", "9999-12-31T23:59:59", "a year of 1900 to 2100"),
    "a unit's long name": ("units.thigh_unit", "units." + "t" * 5000, "100 at most"),
    "a place beyond all": ("[0.05,", "[1e308,", "position_m: found [1e+308"),
    "1000 units": ("[units.calf_unit]", "".join(f"[units.u{k}]\n" for k in range(1000)) + "[units.calf_unit]",
                   "found 1002 units; expected at most 64"),
    "400 calibrations": ("[[calibration]]", '[[calibration]]\nkind = "still"\n' * 400 + "[[calibration]]",
                         "found 401 tables; expected at most 50"),
}  # fmt: skip


@pytest.mark.parametrize("case", SETUPS)
def test_setups_are_refused_by_name(tmp_path, case):
    old, new, told = SETUPS[case]
    with pytest.raises(InputError) as caught:
        read_capture(write_folder(tmp_path, setup=[(old, new)]))
    assert told in str(caught.value)


MODELS = {
    "a length": ([(LENGTH, "length_m = 1e308")], "length_m: found 1e+308"),
    "a centre": ([("-0.42", "-1e308")], "centre_in_parent_m: found [0.0, -1e+308"),
    "a centre 101 m off": ([("-0.42", "-101")], "centre_in_parent_m: found [0.0, -101, 0.0]; expected"),
    "a range of ten turns": ([("[-5, 150]", "[-3700, 150]")], "range_deg.flexion: found [-3700, 150]; exp"),
    "a mass": ([(LENGTH, f"{LENGTH}\nmass_kg = 1e308")], "mass_kg: found 1e+308"),
    "inertia of digits": ([(LENGTH, f"{LENGTH}\ninertia_kgm2 = [{'9' * 400}, 1, 1]")], "inertia_kgm2: found"),
    "inertia of texts": ([(LENGTH, f'{LENGTH}\ninertia_kgm2 = ["1", "1", "1"]')], "inertia_kgm2: found"),
    "an axis": ([('type = "ball"', 'type = "hinge"\naxis = [1e308, 1e308, 0]')], "axis: found [1e+308"),
    "signs": ([('type = "ball"', f'type = "ball"\nsigns = [{"9" * 400}, 1, 1]')], "signs: found"),
    "stiffness": ([("adduction = 3.0", "adduction = 1e-308")], "0.001 to 10000"),
    "a range": ([("[-5, 150]", "[-1e308, 1e308]")], "range_deg.flexion: found [-1e+308"),
    "100 segments": ([("[segments.r_calf]", "".join(f"[segments.s{k}]\n" for k in range(100))
                       + "[segments.r_calf]")], "found 102 segments; expected at most 80"),
} | {f"an angle {name}": (angle(name), "they name columns")
     for name in ("a,b", 'a\\"b', "a\\nb", "a_sd", "x y", "9", "a\\u001b[31m")}  # fmt: skip


@pytest.mark.parametrize("case", MODELS)
def test_models_are_refused_by_name(tmp_path, case):
    changes, told = MODELS[case]
    with pytest.raises(InputError) as caught:
        read_capture(write_folder(tmp_path, model=changes))
    assert told in str(caught.value)


# --- samples


def test_rows_of_zeros_between_samples_of_a_magnetometer_are_missing(tmp_path):
    gone = np.arange(60) % 4 != 0
    thigh = {k: np.where(gone, 0, THIGH[k]) for k in ("mx", "my", "mz")}
    capture, findings = sound(read_capture(write_folder(tmp_path, thigh=thigh)))
    field = known(capture.units["thigh_unit"].magnetometer)
    np.testing.assert_array_equal(np.isnan(field).all(1), gone)
    assert [(f.kind, f.value) for f in findings] == [("samples-impossible", 45.0)]


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [("thigh", "mx", 1e18), *(("calf", column, value) for column in ("ax", "gx") for value in (1e18, 1e300))],
)  # fmt: skip
def test_one_cell_beyond_every_sensor_is_missing_and_told(tmp_path, table, column, value):
    columns = {"thigh": THIGH, "calf": CALF}[table]
    changed = {table: {column: with_value(columns[column], 10, value)}}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        good = fit(read_capture(write_folder(tmp_path)))
        result = fit(read_capture(write_folder(tmp_path, **changed)))
    assert "samples-impossible" in [f.kind for f in result.findings]
    turned = (good.rotations["r_calf"].inv() * result.rotations["r_calf"]).magnitude()
    assert np.degrees(turned).max() < 2.0


def test_a_unit_in_arbitrary_units_has_its_own_measure():
    time = np.arange(50) / 50.0
    field = np.tile([300.0, 400.0, 0.0], (50, 1))
    field[7] = 1e9
    unit, (told,) = without_impossible(
        Unit("a", None, time, magnetometer=field, magnetometer_is_arbitrary=True)
    )
    assert np.flatnonzero(np.isnan(known(unit.magnetometer)).any(1)).tolist() == [7]
    assert told.severity == "warning"


@pytest.mark.parametrize(
    ("arrays", "told"),
    [
        ({"accelerometer": np.zeros((9, 3))}, "units.a accelerometer: found an array (9, 3), expected"),
        ({"gyroscope": np.zeros((10, 2))}, "units.a gyroscope: found an array (10, 2)"),
        ({"orientation": np.zeros((10, 3))}, "expected (10, 4)"),
        ({"time": np.full(10, np.nan)}, "units.a time: sample 1 is nan, expected finite seconds"),
        ({"time": np.zeros((10, 1))}, "units.a time: found an array (10, 1)"),
        ({"time": None}, "units.a time: found None"),
        ({"time": ["a"] * 10}, "expected numbers"),
        ({"mounting": np.zeros(3)}, "units.a mounting: found an array (3,)"),
        ({"position": [0, np.inf, 0]}, "expected finite numbers"),
    ],
)  # fmt: skip
def test_units_of_other_shapes_are_refused(arrays, told):
    with pytest.raises(InputError) as caught:
        Unit("a", None, **{"time": np.arange(10.0), **arrays})
    assert told in str(caught.value)


def test_lists_become_arrays():
    assert Unit("a", None, time=[0, 1], gyroscope=[[0, 0, 1], [0, 0, 2]]).gyroscope.dtype == float  # type: ignore


# --- files


@pytest.fixture
def opened(monkeypatch):
    """Names of files that Python opens; who opens what is no plain file fails, before it waits for ever."""
    names, usual = [], open

    def spy(file, *words, **options):
        if not isinstance(file, int):
            names.append(Path(file).name)
            assert os.path.isfile(file) or not os.path.lexists(file), f"{file} was opened"
        return usual(file, *words, **options)

    for module in (builtins, io):
        monkeypatch.setattr(module, "open", spy)
    return names


@pytest.mark.parametrize("name", ["thigh.csv", "leg.toml", "setup.toml"])
@pytest.mark.parametrize("kind", ["pipe", "device", "folder", "loop"])
def test_what_is_no_file_is_refused_before_it_is_opened(tmp_path, opened, name, kind):
    path = write_folder(tmp_path) / name
    read_capture(tmp_path)
    assert name in opened
    path.unlink()
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to("/dev/zero" if kind == "device" else path)
    told = "Too many levels of symbolic links" if kind == "loop" else f"found a {kind}, expected a file"
    with pytest.raises(InputError, match=f"{name}: {told}"):
        read_capture(tmp_path)


def packed(path: Path, megabytes: int) -> None:
    with gzip.open(path, "wb") as file:
        file.write((path.parent / "thigh.csv").read_bytes())
        for _ in range(megabytes):
            file.write(b"0,0,0,0,0,0,0,0,0,0,0,0,0,0\n" * 36_000)


def test_a_packed_table_that_unpacks_to_far_more_is_refused(tmp_path):
    packed(write_folder(tmp_path, setup=[("thigh.csv", "thigh.csv.gz")]) / "thigh.csv.gz", 80)
    with pytest.raises(InputError, match="no recording packs so well"):
        read_capture(tmp_path)


def test_a_parquet_table_of_more_rows_than_bytes_hold_is_refused(tmp_path):
    import pyarrow as pa
    import pyarrow.parquet as parquet

    write_folder(tmp_path, setup=[("thigh.csv", "thigh.parquet")])
    parquet.write_table(pa.table({"ax": np.zeros(2_000_000)}), tmp_path / "thigh.parquet")
    with pytest.raises(InputError, match="found 2000000 rows in"):
        read_capture(tmp_path)


def test_a_parquet_table_of_long_texts_is_refused(tmp_path):
    import pyarrow as pa
    import pyarrow.parquet as parquet

    write_folder(tmp_path, setup=[("thigh.csv", "thigh.parquet")])
    texts = pa.DictionaryArray.from_arrays(np.zeros(9000, "i4"), pa.array(["x" * 100_000]))
    parquet.write_table(pa.table({"time_s": texts}), tmp_path / "thigh.parquet")
    with pytest.raises(InputError, match="a cell of 100000 bytes"):
        read_capture(tmp_path)


def test_more_samples_than_bytes_hold_and_days_at_few_hertz_are_refused(tmp_path):
    for rows, hertz, told in ((500_000, 100.0, 1_500_000), (50_000, 2.0, 1_500_000)):
        unit = Unit("a", None, time=np.arange(rows) / hertz)
        check_amount(tmp_path / "setup.toml", {"a": unit, "b": unit}, 500_000)
        with pytest.raises(InputError, match=f"found {told} samples of 3 units"):
            check_amount(tmp_path / "setup.toml", {name: unit for name in "abc"}, 500_000)


def test_what_worst_inputs_take_is_bounded():
    """The quickest of tests/regression/worst_inputs.py, each in 1.5 GiB; the others by that script."""
    script = ROOT / "tests" / "regression" / "worst_inputs.py"
    told = subprocess.run([sys.executable, script, "122 million cells, packed", "a stray stamp"],
                          capture_output=True, text=True, check=True).stdout.splitlines()  # fmt: skip
    assert len(told) == 2 and all("exit 2" in line for line in told)


def test_a_table_of_a_hundred_thousand_columns_is_refused(tmp_path):
    text = ",".join(f"c{k}" for k in range(100_000)) + "\n" + ",".join("1" * 100_000) + "\n"
    (write_folder(tmp_path) / "thigh.csv").write_text(text)
    with pytest.raises(InputError, match="columns, expected at most 10000"):
        read_capture(tmp_path)


@pytest.mark.parametrize(
    ("name", "content"),
    [("a.stl", b"x" * 10), ("a.stl", bytes(80) + b"\x0c\0\0\0" + bytes(300)), ("a.zip", b"PK"), ("a", b"")],
)  # fmt: skip
def test_meshes_cut_off_or_packed_are_refused(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=r"segments\.a\.mesh: "):
        check_mesh_file("segments.a.mesh", tmp_path / name)


# --- the command


@pytest.fixture(scope="module")
def fitted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hostile")
    write_folder(folder)
    fit(read_capture(folder)).write(folder / "out")
    return folder


@pytest.mark.parametrize("option", ["fit CAPTURE --out ''", "export FIT --to ''", "inspect CAPTURE --page ''",
                                    "simulate FIT --out ''", "batch CAPTURE --out ''"])  # fmt: skip
def test_a_blank_path_is_a_usage_error(fitted, option):
    words = [{"CAPTURE": str(fitted), "FIT": str(fitted / "out"), "''": ""}.get(w, w) for w in option.split()]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 2 and "expected a path" in done.output


@pytest.mark.parametrize("option", ["--place nan nan", "--stature nan"])
def test_simulate_takes_no_nan(fitted, option):
    done = CliRunner().invoke(main, ["simulate", str(fitted / "out"), "--out", "x", *option.split()])
    assert done.exit_code == 2 and "found nan, expected a finite number" in done.output


@pytest.mark.parametrize("option", ["mounting-sd", "soft-tissue", "probability", "stature"])
def test_plan_takes_no_nan(fitted, option):
    words = ["plan", str(fitted / "out"), "--out", "x", "--tolerance", "5", f"--{option}", "nan"]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 2 and "found nan, expected a finite number" in done.output


def test_simulate_does_not_write_over_a_capture_unless_told(fitted, tmp_path):
    words = ["simulate", str(fitted / "out"), "--model", str(fitted / "leg.toml"), "--stature", "1.7",
             "--out", str(tmp_path)]  # fmt: skip
    (tmp_path / "setup.toml").write_text("mine")
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 2 and "give --force" in done.output
    assert (tmp_path / "setup.toml").read_text() == "mine"
    assert CliRunner().invoke(main, [*words, "--force"]).exit_code == 0


def test_a_device_is_never_replaced_by_a_page(fitted, tmp_path):
    os.mkfifo(tmp_path / "device")
    done = CliRunner().invoke(main, ["inspect", str(fitted), "--page", str(tmp_path / "device")])
    assert done.exit_code == 2 and "is a device or a pipe" in done.output
    assert not (tmp_path / "device").is_file()


def test_titles_reach_the_terminal_without_codes(tmp_path):
    write_folder(tmp_path, setup=[('"Thigh and calf"', '"a\\u001b[31mred\\nnew\\u0007"')])
    done = CliRunner().invoke(main, ["fit", str(tmp_path), "--out", str(tmp_path / "out")])
    assert done.exit_code == 0 and "\x1b" not in done.output and "\x07" not in done.output
    assert "red new" in done.output


WRONG = (None, "x", -1, [], {}, 1e308, [["a"]], True, float("nan"), "gone")
CHANGED = 150  # of some 2000 pairs of key and value; tests/fuzz tries all


def test_a_changed_summary_is_refused_or_read(fitted, tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    whole = json.loads((fitted / "out" / "summary.json").read_text())
    shutil.copytree(fitted / "out", tmp_path / "out")
    draw = random.Random(0)
    for keys, value in draw.sample([(k, v) for k in places(whole) for v in WRONG], CHANGED):
        text = json.dumps(changed(whole, keys, value))
        (tmp_path / "out" / "summary.json").write_text(text)
        for command in ("review", "report"):
            done = CliRunner().invoke(main, [command, str(tmp_path / "out")])
            assert done.exit_code in (0, 2), (command, keys, value, done.output)


def places(value, keys=()):
    """Every path of keys into JSON data, of lists the first two items."""
    inner = (
        value.items() if isinstance(value, dict) else enumerate(value[:2]) if isinstance(value, list) else ()
    )
    for key, item in inner:
        yield (*keys, key)
        yield from places(item, (*keys, key))


def changed(whole, keys, value):
    """A copy with one value replaced, or gone."""
    copy = json.loads(json.dumps(whole))
    inner = copy
    for key in keys[:-1]:
        inner = inner[key]
    if value == "gone":
        del inner[keys[-1]]
    else:
        inner[keys[-1]] = value
    return copy


# --- streams and signals, in a process of their own


def started(*words, **options):
    usual = {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": ""}  # a stream to a file keeps what is printed
    environment = {**os.environ, **usual, **options.pop("env", {})}
    call = [sys.executable, "-m", "bodyfit", *map(str, words)]
    return subprocess.Popen(call, env=environment, stdin=subprocess.DEVNULL, **options)


@pytest.mark.parametrize("words", ["--version", "review FIT"])
def test_a_full_standard_output_is_told(fitted, words):
    with open("/dev/full", "w") as full:
        process = started(*words.replace("FIT", f"{fitted}/out").split(), stdout=full, stderr=subprocess.PIPE)
        _, told = process.communicate(timeout=60)
    assert process.returncode == 2
    assert told.decode().strip() == (
        "bodyfit: standard output: cannot be written: No space left on device; make room, or print elsewhere"
    )


def test_a_reader_that_went_away_is_no_error_of_ours():
    ours, theirs = os.pipe()
    os.close(ours)
    process = started("--version", stdout=theirs, stderr=subprocess.PIPE)
    os.close(theirs)
    assert process.communicate(timeout=60)[1] == b"" and process.returncode == 1  # as click ends then


def test_closed_streams_swallow_what_is_printed(fitted):
    closed = started("inspect", fitted, stdout=None, preexec_fn=lambda: (os.close(1), os.close(2)))
    assert closed.wait(60) == 0


def test_a_stream_of_few_characters_gets_what_it_can_show(fitted):
    plain = started("review", fitted / "out", env={"PYTHONIOENCODING": "ascii"}, stdout=subprocess.PIPE,
                    stderr=subprocess.PIPE)  # fmt: skip
    told, errors = plain.communicate(timeout=60)
    assert plain.returncode == 0 and errors == b"" and told.isascii()


def hear_interrupts(process) -> int:
    """Number of a process's children in which Python has begun and knows what to do with Ctrl-C."""
    known = 0
    for child in Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split():
        told = dict(line.split(":", 1) for line in Path(f"/proc/{child}/status").read_text().splitlines())
        known += bool((int(told["SigCgt"], 16) | int(told["SigIgn"], 16)) >> (signal.SIGINT - 1) & 1)
    return known


@pytest.mark.parametrize(("end", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_compare_interrupted_as_its_processes_start_leaves_no_trace(fitted, tmp_path, end, code):
    words = ("compare", fitted, "--out", tmp_path, "--jobs", "2")
    process = started(*words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True)
    late = time.monotonic() + 60
    while hear_interrupts(process) < 3:  # two of the pool, and one that tidies up after them
        assert process.poll() is None and time.monotonic() < late
        time.sleep(0.01)
    os.killpg(process.pid, end)
    _, told = process.communicate(timeout=60)
    assert process.returncode == code and told == b"", told.decode()
    assert not list(tmp_path.glob(".bodyfit-*")) and not list(tmp_path.rglob("*.part"))
