"""Plain files: tables as text, folders, what can be read at all, what a table may hold, finished work."""

from __future__ import annotations

import csv
import errno
import gzip
import io
import os
from pathlib import Path

import numpy as np
import pytest

from bodyfit.errors import InputError, OutputError
from bodyfit.files.finished_work import read_kept, write_files, write_kept
from bodyfit.files.movement.activities_file import write_activities
from bodyfit.files.movement.column_tables import by_column, frame, write_columns
from bodyfit.files.movement.stride_files import EVENT_COLUMNS, STRIDE_COLUMNS, write_strides
from bodyfit.files.plain import table_limits, tables
from bodyfit.files.plain.atomic_file import make_folder, write_text
from bodyfit.files.plain.csv_text import csv_text
from bodyfit.files.plain.json_reader import read_json_object
from bodyfit.files.plain.readable import check_readable, is_file, is_folder, is_there
from bodyfit.files.plain.table_limits import check_header, check_rows, check_table_file
from bodyfit.files.plain.tables import read_table
from bodyfit.files.plain.toml_reader import read_toml


def test_a_table_is_text_that_the_standard_library_reads_back():
    rows = [["plain", 1, None], ['with "quotes", and\na line', 2.5, ""]]
    text = csv_text(("a", "b", "c"), rows)
    assert text.startswith("a,b,c\nplain,1,\n")
    assert list(csv.reader(io.StringIO(text)))[2] == ['with "quotes", and\na line', "2.5", ""]


def test_rows_become_columns_with_nan_where_a_number_is_not_known():
    rows = [{"side": "left", "t": 1.0}, {"side": "right", "t": None}]
    columns = by_column(rows, ("t", "side"), {"side"})
    assert list(columns) == ["t", "side"] and columns["t"].dtype == float
    np.testing.assert_array_equal(columns["t"], [1.0, np.nan])
    table = frame(columns)
    assert list(table.side) == ["left", "right"] and table.t.isna().tolist() == [False, True]
    assert by_column([], ("t",))["t"].shape == (0,)


def test_columns_are_rounded_by_what_they_measure(tmp_path):
    write_columns(
        tmp_path / "t.csv", {"time_s": np.array([1 / 3]), "share": np.array([1 / 3]), "n": np.array([7])}
    )
    assert (tmp_path / "t.csv").read_text() == "time_s,share,n\n0.3333,0.33333,7\n"


def test_activities_are_a_row_each(tmp_path):
    columns = {
        "start_s": np.array([0.0]), "end_s": np.array([2.5]),
        "activity": np.array(["walking"], object), "probability": np.array([0.98765]),
    }  # fmt: skip
    path = write_activities(columns, tmp_path / "new" / "folder")
    assert path.read_text() == "start_s,end_s,activity,probability\n0.000,2.500,walking,0.988\n"


def test_strides_and_events_are_two_tables_with_empty_cells(tmp_path):
    stride = dict.fromkeys(STRIDE_COLUMNS) | {"side": "left", "start_s": 1.0, "stride_length_m": 1.23456}
    event = {"time_s": 1.0, "time_sd_s": 0.01, "side": "left", "event": "heel_strike"}
    events, strides = write_strides([event], [stride], tmp_path)
    assert events.read_text().splitlines() == [",".join(EVENT_COLUMNS), "1.0000,0.0100,left,heel_strike"]
    row = dict(zip(STRIDE_COLUMNS, strides.read_text().splitlines()[1].split(","), strict=True))
    assert (row["stride_length_m"], row["turn_deg"], row["side"]) == ("1.2346", "", "left")


# --- folders and text ---


def test_folders_are_made_with_those_above_them_or_refused_by_name(tmp_path):
    make_folder(tmp_path / "a" / "b")
    make_folder(tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b").is_dir()
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match=r"file/below: can't be made: .*; choose another folder"):
        make_folder(tmp_path / "file" / "below")


def test_a_text_is_written_whole_with_line_feeds(tmp_path):
    write_text(tmp_path / "t.txt", "a\nb°\n")
    assert (tmp_path / "t.txt").read_bytes() == "a\nb°\n".encode()
    assert os.listdir(tmp_path) == ["t.txt"]


def test_finished_work_is_kept_under_its_key(tmp_path):
    write_kept(tmp_path / "cases", "k", {"b": 1, "a": [2.5, None]})
    assert list(read_kept(tmp_path / "cases", "k")) == ["b", "a"]
    assert read_kept(tmp_path / "cases", "other") is None
    (tmp_path / "cases" / "k.json").write_text("{")
    assert read_kept(tmp_path / "cases", "k") is None, "half a file counts as none"
    paths = write_files(tmp_path / "out", {"x.csv": "1\n", "y.json": "{}\n"})
    assert [path.name for path in paths] == ["x.csv", "y.json"] and all(path.is_file() for path in paths)


# --- what can be read ---


def test_what_is_no_file_is_refused_by_its_kind(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "big").write_bytes(b"x" * 2000)
    for name, told in (("none", "no such file"), ("", "found a folder"), ("pipe", "found a pipe")):
        with pytest.raises(InputError, match=told):
            check_readable(tmp_path / name, 1e6)
    with pytest.raises(InputError, match=r"found 0\.002 MB, expected at most 0\.001 MB"):
        check_readable(tmp_path / "big", 1000)
    check_readable(tmp_path / "big", 2000)


@pytest.mark.parametrize("name", ["setup.toml", "summary.json", "hand.csv"])
def test_a_disk_that_fails_while_reading_is_told(tmp_path, monkeypatch, name):
    (tmp_path / name).write_text("")
    failed = OSError(errno.EIO, os.strerror(errno.EIO))
    for module, reads in ((Path, "read_text"), (tables, "_read_text")):
        monkeypatch.setattr(module, reads, lambda *_, **__: (_ for _ in ()).throw(failed))
    read = {
        "setup.toml": read_toml,
        "summary.json": lambda path: read_json_object(path, "Fit anew."),
        "hand.csv": read_table,
    }[name]
    with pytest.raises(InputError, match=f"{name}: cannot be read.*: .*{failed.strerror}"):
        read(tmp_path / name)


def test_kinds_of_paths(tmp_path):
    (tmp_path / "f").write_text("")
    assert (is_file(tmp_path / "f"), is_folder(tmp_path / "f"), is_there(tmp_path / "f")) == (
        True,
        False,
        True,
    )
    assert (is_file(tmp_path), is_folder(tmp_path), is_there(tmp_path / "no")) == (False, True, False)
    with pytest.raises(InputError, match="give another path"):
        is_there(tmp_path / ("x" * 5000))


# --- what a table may hold ---


def test_a_packed_table_that_unpacks_to_more_than_a_recording_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(table_limits, "FREE_BYTES", 1e5)
    monkeypatch.setattr(table_limits, "PIECE", 1 << 12)
    with gzip.open(tmp_path / "bomb.csv.gz", "wb") as file:
        file.write(b"0" * 1_000_000)
    with pytest.raises(
        InputError, match=r"expected at most 25 times the file's size: no recording packs so well"
    ):
        check_table_file(tmp_path / "bomb.csv.gz")
    with gzip.open(tmp_path / "fine.csv.gz", "wb") as file:
        file.write(np.random.default_rng(0).bytes(200_000))
    check_table_file(tmp_path / "fine.csv.gz")
    monkeypatch.setattr(table_limits, "FREE_CELLS", 20_000)
    with gzip.open(tmp_path / "cells.csv.gz", "wb") as file:
        file.write(b"0,0\n" * 10_001)
    with pytest.raises(InputError, match="found over 2e\\+04 cells in"):
        check_table_file(tmp_path / "cells.csv.gz")


def test_a_parquet_table_of_equal_columns_that_unpacks_to_more_is_refused(tmp_path, monkeypatch):
    import pyarrow as pa
    import pyarrow.parquet as parquet

    zeros = np.zeros(20_000)
    parquet.write_table(pa.table({f"c{k}": zeros for k in range(50)}), tmp_path / "t.parquet")
    check_table_file(tmp_path / "t.parquet")  # 8 MB at most, which anybody may have
    monkeypatch.setattr(table_limits, "FREE_BYTES", 1e5)
    with pytest.raises(InputError, match=r"found 20000 rows × 50 columns in .* no recording packs so well"):
        check_table_file(tmp_path / "t.parquet")


def test_columns_and_rows_have_a_limit(tmp_path, monkeypatch):
    path = tmp_path / "t.csv"
    path.write_bytes(b"x" * 400)
    with pytest.raises(InputError, match="found 10001 columns, expected at most 10000"):
        check_header(path, 10_001)
    monkeypatch.setattr(table_limits, "FREE_ROWS", 50)
    check_rows(path, 100)
    with pytest.raises(InputError, match=r"found 101 rows in 0\.0004 MB, expected at most 100"):
        check_rows(path, 101)
