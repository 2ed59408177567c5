"""The four files of a fit: what is in them, and that a failed run leaves nothing behind."""

from __future__ import annotations

import contextlib
import ctypes
import errno
import gzip
import io
import json
import os
import shutil
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from example_fit import chain, fit_of, person, poses_of
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.errors import InputError, OutputError
from bodyfit.files import fit_folder as outputs
from bodyfit.files.account import account_of
from bodyfit.files.fit_folder import FILES, write_fit
from bodyfit.files.motion import pose_tables
from bodyfit.files.motion.pose_tables import continuous_quaternions, read_joints, read_segments
from bodyfit.files.plain.atomic_file import check_folder
from bodyfit.files.plain.json_text import json_text
from bodyfit.files.scene.glb import read_glb


@pytest.fixture
def fit():
    return fit_of(poses_of(chain()), with_sd=True)


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


# --- what is in the files ---


def test_all_four_files_are_written_and_named(fit, tmp_path):
    paths = write_fit(fit, tmp_path / "deep" / "out")
    assert tuple(path.name for path in paths) == FILES
    assert set(contents(tmp_path)) == {f"deep/out/{name}" for name in FILES}


def test_segments_csv_has_the_columns_of_the_contract(fit, tmp_path):
    write_fit(fit, tmp_path)
    table = pd.read_csv(tmp_path / "segments.csv")
    parts = ["qx", "qy", "qz", "qw", "x_m", "y_m", "z_m"]
    assert list(table) == ["time_s", *(f"{segment}_{part}" for segment in "abc" for part in parts)]
    np.testing.assert_allclose(table["time_s"], fit.time, atol=1e-6)
    for segment in "abc":
        read = Rotation.from_quat(table[[f"{segment}_{part}" for part in parts[:4]]].to_numpy())
        assert (read.inv() * fit.rotations[segment]).magnitude().max() < 4e-9
        place = table[[f"{segment}_{part}" for part in parts[4:]]].to_numpy()
        np.testing.assert_allclose(place, fit.poses.positions[segment], atol=1e-6)


def test_positions_are_left_out_when_centres_are_unknown(tmp_path):
    write_fit(fit_of(poses_of(chain(known=False))), tmp_path)
    assert not any(name.endswith("_m") for name in pd.read_csv(tmp_path / "segments.csv"))


def test_joints_csv_is_in_degrees_with_standard_deviations_beside(fit, tmp_path):
    write_fit(fit, tmp_path)
    table = pd.read_csv(tmp_path / "joints.csv")
    assert list(table)[:3] == ["time_s", "first_flexion_deg", "first_flexion_sd_deg"]
    assert len(table.columns) == 1 + 2 * 6
    np.testing.assert_allclose(
        table["second_adduction_deg"], np.degrees(fit.joint_angles["second"]["adduction"]), atol=1e-6
    )
    np.testing.assert_allclose(table["second_adduction_sd_deg"], np.degrees(0.01), atol=1e-6)


def test_joints_csv_has_no_standard_deviations_before_they_exist(tmp_path):
    write_fit(fit_of(poses_of(chain())), tmp_path)
    assert not any("_sd_" in name for name in pd.read_csv(tmp_path / "joints.csv"))


def test_an_angle_that_is_not_known_is_an_empty_cell(fit, tmp_path):
    fit.joint_angles["first"]["flexion"][3] = np.nan
    write_fit(fit, tmp_path)
    assert (tmp_path / "joints.csv").read_text().splitlines()[4].startswith("0.03,,0.57")


def test_quaternions_never_flip_and_start_with_positive_w():
    spin = Rotation.from_rotvec(np.linspace(3.5, 20, 500)[:, None] * [0, 0, 1])  # passes 180° several times
    jumping = Rotation.from_quat(-spin.as_quat(canonical=True))
    assert np.abs(np.diff(jumping.as_quat(), axis=0)).max() > 1.9
    quat = continuous_quaternions(jumping)
    assert quat[0, 3] >= 0
    assert np.abs(np.diff(quat, axis=0)).max() < 0.02
    np.testing.assert_allclose(Rotation.from_quat(quat).as_matrix(), jumping.as_matrix(), atol=1e-12)


def test_nothing_is_written_as_minus_zero():
    file = io.BytesIO()
    tiny = Rotation.from_rotvec(np.full((2, 3), -1e-12))
    pose_tables.write_segments(file, np.array([0.0, 0.01]), {"a": tiny}, {"a": np.full((2, 3), -1e-9)})
    assert file.getvalue().decode().splitlines()[1:] == ["0,0,0,0,1,0,0,0", "0.01,0,0,0,1,0,0,0"]


def test_tables_read_back_as_they_were(fit, tmp_path, monkeypatch):
    monkeypatch.setattr(pose_tables, "ROWS_AT_ONCE", 7)  # many pieces, the last one short
    write_fit(fit, tmp_path)
    segments, joints = read_segments(tmp_path / "segments.csv"), read_joints(tmp_path / "joints.csv")
    assert len(segments.time) == len(joints.time) == 101
    for name in "abc":
        assert (segments.rotations[name].inv() * fit.rotations[name]).magnitude().max() < 4e-9
        np.testing.assert_allclose(segments.positions[name], fit.poses.positions[name], atol=1e-6)
    np.testing.assert_allclose(
        joints.angles["first_adduction"], fit.joint_angles["first"]["adduction"], atol=1e-7
    )
    np.testing.assert_allclose(joints.angle_sd["second_flexion"], 0.01, atol=1e-7)
    assert set(joints.angles) == set(joints.angle_sd)


def test_whole_body_writes_every_joint_and_segment(tmp_path):
    write_fit(fit_of(poses_of(person(), count=12)), tmp_path)
    assert pd.read_csv(tmp_path / "segments.csv").shape == (12, 1 + 15 * 7)
    assert pd.read_csv(tmp_path / "joints.csv").shape == (12, 1 + 14 * 3)


def test_summary_is_strict_json_in_a_stable_order(fit, tmp_path):
    write_fit(fit, tmp_path)
    text = (tmp_path / "summary.json").read_text()
    read = json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} is not JSON (RFC 8259)"))
    assert list(read) == sorted(read) and read["solver"] == {
        "converged": True,
        "cost": None,
        "iterations": 12,
        "last_step_deg": 0.0123,
    }
    assert read["units"]["a_unit"]["mounting_quat_xyzw"] == [0, 0, 0, 1]
    assert read["joints"]["second"]["angles"]["flexion"]["max_deg"] == 1.5
    assert json_text(dict(reversed(read.items()))) == text
    assert '"hinge_axis_parent": [0.0, 0.0, 1.0]' in text
    assert '"warnings": [\n' in text  # numbers side by side, sentences below each other


def test_summary_keeps_every_character_of_its_words():
    words = {"warnings": ["a [ 0, 1 ] b", "\n[\n 1\n ]"], "names": frozenset({"b", "a"}), "e": []}
    assert json.loads(json_text(words)) == {"warnings": words["warnings"], "names": ["a", "b"], "e": []}


# --- reading refuses what is wrong ---


def cell(row: int, column: str, value: object):
    def change(table: pd.DataFrame) -> pd.DataFrame:
        table.loc[row, column] = value
        return table

    return change


def broken(folder: Path, change) -> Path:
    write_fit(fit_of(poses_of(chain(), count=8)), folder)
    table = pd.read_csv(folder / "segments.csv").astype(object)
    change(table).to_csv(folder / "segments.csv", index=False)
    return folder / "segments.csv"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda t: t.drop(columns="time_s"), "no column 'time_s'"),
        (lambda t: t.drop(columns="b_qy"), "no column 'b_qy'"),
        (lambda t: t.drop(columns=[c for c in t if "_q" in c]), "no column ends in _qx"),
        (lambda t: t.assign(b_qw=3.0), r"b_qx, _qy, _qz, _qw: row 1 \(t = 0.000 s\): .* length 3"),
        (cell(4, "c_qx", "much"), "column 'c_qx': row 5: found 'much'"),
        (cell(4, "c_qx", None), "row 5 .* expected 1 .*; 1 rows"),
        (cell(5, "time_s", 0.02), "'time_s': row 6: found 0.02 after 0.04"),
        (cell(0, "time_s", None), "'time_s': row 1: found nan"),
    ],
)
def test_a_broken_table_is_refused_with_place_and_remedy(change, message, tmp_path):
    path = broken(tmp_path, change)
    with pytest.raises(InputError, match=message) as caught:
        read_segments(path)
    assert str(path) in str(caught.value)


def test_a_missing_table_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"nowhere\.csv"):
        read_segments(tmp_path / "nowhere.csv")


def test_packed_and_parquet_tables_read_the_same(fit, tmp_path):
    write_fit(fit, tmp_path)
    (tmp_path / "s.csv.gz").write_bytes(gzip.compress((tmp_path / "segments.csv").read_bytes()))
    pd.read_csv(tmp_path / "segments.csv").to_parquet(tmp_path / "s.parquet")
    for name in ("s.csv.gz", "s.parquet"):
        np.testing.assert_array_equal(
            read_segments(tmp_path / name).rotations["b"].as_quat(),
            read_segments(tmp_path / "segments.csv").rotations["b"].as_quat(),
        )


# --- nothing else is touched, nothing half-written stays ---


def test_other_files_in_the_folder_are_left_alone_and_earlier_results_replaced(fit, tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / "segments.csv").write_text("old")
    before = os.stat(tmp_path / "notes.txt")
    write_fit(fit, tmp_path)
    assert os.stat(tmp_path / "notes.txt").st_mtime_ns == before.st_mtime_ns
    assert set(contents(tmp_path)) == {*FILES, "notes.txt"}
    assert (tmp_path / "segments.csv").read_text().startswith("time_s,a_qx")


def test_the_scene_gives_the_account_of_its_fit(fit, tmp_path):
    write_fit(fit, tmp_path)
    told = read_glb(tmp_path / "pose.glb")[0]["asset"]["extras"]
    assert told["software"] == f"bodyfit {fit.summary.bodyfit_version}"
    assert told["body_model"] == fit.summary.model.name
    assert "Not a medical device" in told["caution"]
    assert told["sensors"] == account_of(fit.summary, fit.findings).worn


def fail_in(monkeypatch, writer: str, number: int) -> None:
    """Makes one of the writers write a little, then fail as the operating system would."""

    def write(file, **_):
        file.write(b"half of it")
        if not isinstance(file, outputs._Counter):
            raise OSError(number, os.strerror(number))

    monkeypatch.setattr(outputs, writer, write)


@pytest.mark.parametrize("writer", ["write_segments", "write_joints", "write_pose"])
def test_full_disk_leaves_everything_as_it_was_and_says_what_was_needed(fit, tmp_path, monkeypatch, writer):
    out = tmp_path / "out"
    write_fit(fit, out)
    before = contents(tmp_path)
    fail_in(monkeypatch, writer, errno.ENOSPC)
    with pytest.raises(OutputError, match=r"disk is full .*4 files need 0\.\d MB, [\d.]+ MB are free"):
        write_fit(fit, out)
    assert contents(tmp_path) == before and os.listdir(tmp_path) == ["out"]
    assert sorted(os.listdir(out)) == sorted(FILES)


def test_failed_first_run_removes_the_folders_it_made(fit, tmp_path, monkeypatch):
    fail_in(monkeypatch, "write_pose", errno.EIO)
    with pytest.raises(OutputError, match=r"can't be written to .*Choose another folder"):
        write_fit(fit, tmp_path / "deep" / "out")
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("stop", [KeyboardInterrupt, SystemExit, ValueError])
def test_an_interrupted_run_leaves_nothing_half_written(fit, tmp_path, monkeypatch, stop):
    def write(file, **_):
        raise stop

    monkeypatch.setattr(outputs, "write_pose", write)
    with pytest.raises(stop):
        write_fit(fit, tmp_path / "out")
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("at", range(8))
def test_a_refused_rename_puts_earlier_results_back(fit, tmp_path, monkeypatch, at):
    write_fit(fit, tmp_path)
    before = contents(tmp_path)
    calls, replace = [], os.replace

    def refuse_one(source, target):
        calls.append(target)
        if len(calls) == at + 1:
            raise PermissionError(errno.EPERM, "Operation not permitted")
        replace(source, target)

    monkeypatch.setattr(os, "replace", refuse_one)
    fit.time = fit.time + 5
    with pytest.raises(OutputError, match="Operation not permitted"):
        write_fit(fit, tmp_path)
    assert contents(tmp_path) == before and sorted(os.listdir(tmp_path)) == sorted(FILES)


def test_a_refused_rename_of_a_first_run_leaves_nothing(fit, tmp_path, monkeypatch):
    replace = os.replace

    def refuse_last(source, target):
        if Path(target).name == "summary.json":
            raise PermissionError(errno.EPERM, "Operation not permitted")
        replace(source, target)

    monkeypatch.setattr(os, "replace", refuse_last)
    with pytest.raises(OutputError):
        write_fit(fit, tmp_path / "out")
    assert os.listdir(tmp_path) == []


@pytest.fixture
def small_disk(tmp_path):
    """A real file system of 32 KiB, where mounting is allowed."""
    libc = ctypes.CDLL(None, use_errno=True)
    folder = tmp_path / "disk"
    folder.mkdir()
    if libc.mount(b"none", bytes(folder), b"tmpfs", 0, b"size=32k") != 0:
        pytest.skip(f"mounting a small file system is not allowed here: {os.strerror(ctypes.get_errno())}")
    yield folder
    libc.umount2(bytes(folder), 2)


def test_a_disk_that_is_really_full(fit, small_disk):
    (small_disk / "segments.csv").write_text("old")
    with pytest.raises(OutputError, match=r"disk is full \(No space left on device\)"):
        write_fit(fit, small_disk)
    assert contents(small_disk) == {"segments.csv": b"old"} and os.listdir(small_disk) == ["segments.csv"]


# --- folders that can't be written to are refused before the work ---


def test_out_that_is_a_file_is_refused(tmp_path):
    (tmp_path / "out").write_text("a file")
    for path in (tmp_path / "out", tmp_path / "out" / "below"):
        with pytest.raises(OutputError, match=r"out is a file, expected a folder"):
            check_folder(path)
    assert (tmp_path / "out").read_text() == "a file"


def test_a_folder_in_place_of_a_result_is_refused(tmp_path):
    (tmp_path / "pose.glb").mkdir()
    with pytest.raises(OutputError, match=r"pose.glb is a folder, expected a file or nothing"):
        check_folder(tmp_path, FILES)


@contextlib.contextmanager
def ordinary_user():
    """For a while without the rights of root, whom no folder refuses."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_out_without_permission_is_refused(fit):
    top = Path(tempfile.mkdtemp())
    try:
        top.chmod(0o555)
        with ordinary_user(), pytest.raises(OutputError, match=r"no permission to write to .*another folder"):
            write_fit(fit, top / "out")
        assert os.listdir(top) == []
    finally:
        top.chmod(0o755)
        shutil.rmtree(top)


@pytest.mark.parametrize(
    ("hidden", "told"),
    [
        ("", r"capture/setup.toml: Permission denied; give another path"),
        ("setup.toml", r"capture/setup.toml: no permission to read it; change that"),
        ("hand.csv", r"capture/hand.csv: no permission to read it; change that"),
    ],
)
def test_a_capture_without_permission_to_read_is_refused(hidden, told):
    top = Path(tempfile.mkdtemp())
    top.chmod(0o755)
    demo = Path(__file__).resolve().parents[2] / "demo_captures" / "cello_arm"
    capture = shutil.copytree(demo, top / "capture", ignore=shutil.ignore_patterns("truth"))
    assert bodyfit.read_capture(capture).units  # sound; and all is imported that only root may read
    try:
        (capture / hidden).chmod(0o000)
        with ordinary_user(), pytest.raises(InputError, match=told):
            bodyfit.read_capture(capture)
    finally:
        (capture / hidden).chmod(0o755)
        shutil.rmtree(top)


def test_checking_a_folder_makes_nothing(tmp_path):
    check_folder(tmp_path / "a" / "b")
    assert os.listdir(tmp_path) == []


def test_progress_names_each_file(fit, tmp_path):
    said = []
    write_fit(fit, tmp_path, lambda done, total, what: said.append((done, total, what)))
    assert said == [(i, 4, f"writing {name}") for i, name in enumerate(FILES)]
