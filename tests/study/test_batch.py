"""Many captures: each in its folder, failures as rows, going on after a stop, the same on a cluster."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import os
import pty
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import bodyfit
from bodyfit.commands.terminal.batch_progress import BatchProgress
from bodyfit.core.workers.work import Died, silent
from bodyfit.errors import InputError
from bodyfit.files.capture.writer import write_capture
from bodyfit.study.batch.batch import _settled, batch, names_of
from bodyfit.study.batch.files import table_of
from bodyfit.study.batch.fit_one import Options, Piece, fit_one
from bodyfit.study.batch.page import page_of
from bodyfit.study.batch.result import DONE, FAILED, Row

ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = os.environ | {"PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}


class Watched:
    """Notes what it is told; calls a function when the first capture is finished."""

    def __init__(self, first=None) -> None:
        self.kept: dict[str, bool] = {}
        self.words: list[str] = []
        self.first = first

    def began(self, total, workers):
        self.began_with = (total, workers)

    def of(self, name, done, total, what):
        self.words.append(f"{name}: {what}")

    def finished(self, row, kept):
        self.kept[row.name] = kept
        if self.first is not None and len(self.kept) == 1:
            self.first()


@pytest.fixture(scope="module")
def captures(tmp_path_factory):
    """Four short captures and a broken one between them."""
    folder = tmp_path_factory.mktemp("captures")
    whole = bodyfit.read_capture(ROOT / "demo_captures" / "cello_arm")
    for k in range(4):
        capture = dataclasses.replace(whole.between(0, 7 + 0.5 * k), title=f"number {k}")
        write_capture(capture, folder / f"c{k}", ".csv", digits=None)
    shutil.copytree(folder / "c0", folder / "broken")
    (folder / "broken" / "hand.csv").unlink()
    return [folder / name for name in ("c0", "c1", "broken", "c2", "c3")]


@pytest.fixture(scope="module")
def done(captures, tmp_path_factory):
    """A batch of them on two processes."""
    out, watch = tmp_path_factory.mktemp("done"), Watched()
    return batch(captures, out, jobs=2, watch=watch), out, watch


def rows_of(out: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((out / "batch.csv").read_text())))


def fits(out: Path) -> dict[str, bytes]:
    return {str(p.relative_to(out)): p.read_bytes() for p in sorted(out.rglob("*.csv")) if p.parent != out}


def fits_of(out: Path, *names: str) -> dict[str, bytes]:
    return {path: table for path, table in fits(out).items() if path.split(os.sep)[0] in names}


def test_each_has_its_row_and_the_broken_one_its_reason(done):
    rows, out, watch = done
    assert [(row.name, row.state) for row in rows] == [
        *(("c0", DONE), ("c1", DONE), ("broken", FAILED), ("c2", DONE), ("c3", DONE))
    ]
    table = rows_of(out)
    assert [row["state"] for row in table] == ["done", "done", "failed", "done", "done"]
    assert "hand.csv: no such table" in table[2]["reason"] and "\n" not in table[2]["reason"]
    knee = json.loads((out / "c0" / "summary.json").read_text())["joints"]["r_elbow"]["angles"]["flexion"]
    assert float(table[0]["r_elbow_flexion_max_deg"]) == pytest.approx(knee["max_deg"], abs=1e-3)
    assert float(table[0]["seconds"]) > 0 and table[0]["converged"] in ("true", "false")
    assert watch.began_with == (5, 2) and any(word.startswith("c0: ") for word in watch.words)


def test_each_folder_holds_a_whole_fit_with_review_and_report(done):
    _, out, _ = done
    names = {path.name for path in (out / "c1").iterdir()}
    assert names == {
        *("segments.csv", "joints.csv", "pose.glb", "summary.json"),
        *("findings.json", "report.html", "batch_row.json"),
    }
    found = json.loads((out / "c1" / "findings.json").read_text())["findings"]
    assert int(rows_of(out)[1]["note_findings"]) == sum(one["severity"] == "note" for one in found)
    assert {path.name for path in (out / "broken").iterdir()} == {"batch_row.json"}


def test_the_results_are_those_of_one_fit_after_the_other(captures, done):
    _, out, _ = done
    for path in (captures[0], captures[-1]):  # of one process and of the other
        came = fit_one(Options(), Piece(path.name, str(path)), silent)
        assert came.files is not None
        for name in ("segments.csv", "joints.csv", "pose.glb"):
            assert came.files[name] == (out / path.name / name).read_bytes()


def test_what_is_done_is_not_done_again_unless_it_changed(captures, done, tmp_path):
    out, again = tmp_path / "out", tmp_path / "captures"
    shutil.copytree(done[1], out)
    shutil.copytree(captures[0].parent, again)
    text = (again / "c1" / "setup.toml").read_text()
    (again / "c1" / "setup.toml").write_text(text.replace("number 1", "number one"))
    kept = json.loads((out / "c2" / "batch_row.json").read_text())
    (out / "c2" / "batch_row.json").write_text(json.dumps(kept | {"key": "of an older version"}))
    (out / "c3" / "batch_row.json").unlink()  # stopped before the last file
    watch = Watched()
    rows = batch([again / path.name for path in captures], out, jobs=1, watch=watch)
    assert watch.kept == {"c0": True, "c1": False, "broken": False, "c2": False, "c3": False}
    assert rows[1].title == "number one" and fits(out).keys() == fits(done[1]).keys()


def test_other_options_are_done_again(captures, done):
    key = done[0][0].key
    assert fit_one(Options(), Piece("c0", str(captures[0]), key), silent).files is None
    other = Options(("accelerometer", "gyroscope"))
    assert fit_one(other, Piece("c0", str(captures[0]), key), silent).files


def test_a_killed_batch_goes_on_and_loses_nothing(captures, done, tmp_path):
    three = captures[:3]
    command = [sys.executable, "-m", "bodyfit", "batch", *map(str, three), "--out", str(tmp_path / "out")]
    command += ["--jobs", "1"]
    first = subprocess.Popen(command, env=ENVIRONMENT, stderr=subprocess.PIPE, text=True)
    assert first.stderr is not None
    for line in first.stderr:
        if "1 of 3" in line:
            break
    first.send_signal(signal.SIGKILL)
    first.wait()
    first.stderr.close()
    ended = subprocess.run(command, env=ENVIRONMENT, capture_output=True, text=True)
    assert ended.returncode == 0, ended.stderr
    assert "done before" in ended.stderr and "2 done, 1 failed" in ended.stdout
    assert fits(tmp_path / "out") == fits_of(done[1], "c0", "c1")


def test_a_cluster_gives_the_same(captures, done, tmp_path):
    """On a worker in this process; that one of another process may be killed: tests/core/test_workers.py."""
    distributed = pytest.importorskip(
        "distributed", reason="clusters need Dask: pip install 'bodyfit[cluster]'"
    )
    with distributed.LocalCluster(
        n_workers=1,
        processes=False,
        threads_per_worker=1,
        dashboard_address=None,
        silence_logs=50,
    ) as cluster:
        rows = batch(captures[:3], tmp_path, scheduler=cluster.scheduler_address)
    assert [row.state for row in rows] == ["done", "done", "failed"]
    assert fits(tmp_path) == fits_of(done[1], "c0", "c1")


def test_a_capture_at_an_address_is_fetched(captures, done):
    pytest.importorskip("fsspec", reason="addresses need fsspec: pip install 'bodyfit[cluster]'")
    came = fit_one(Options(), Piece("c0", captures[0].as_uri()), silent)
    assert came.files is not None and came.files["joints.csv"] == (done[1] / "c0" / "joints.csv").read_bytes()
    lost = fit_one(Options(), Piece("c0", "file:///no/such/folder"), silent)
    assert lost.row.state == FAILED and "cannot be fetched" in lost.row.reason


def test_a_capture_that_kills_its_workers_is_named(tmp_path):
    row, _ = _settled(tmp_path, Piece("heavy", "captures/heavy"), Died(3))
    assert row.state == FAILED and row.capture == "captures/heavy"
    assert row.reason.startswith("killed the process that worked on it 3 times")


# --- names, page, progress ---


def test_names_are_the_folders_and_longer_where_two_are_alike():
    assert list(names_of(["/a/x", "/a/y"])) == ["x", "y"]
    assert list(names_of(["/a/x", "/b/x"])) == ["a_x", "b_x"]
    with pytest.raises(InputError, match="given twice"):
        names_of(["/a/x", "/a/../a/x"])


def made(name: str, high: float = 90.0, state: str = DONE, **more) -> Row:
    ranges = {} if state == FAILED else {"r_knee": {"flexion": (0.0, high)}}
    return Row(name, f"captures/{name}", state, seconds=1.0, converged=True, ranges=ranges, **more)


def test_the_page_puts_first_what_to_look_at_and_marks_what_differs():
    rows = [made(f"c{k}", 90.0 + k) for k in range(6)]
    rows += [made("odd", 150.0, findings={"serious": 2, "warning": 0, "note": 1})]
    rows += [made("lost", state=FAILED, reason="<no such> file")]
    page = page_of(rows, 9)
    order = [page.index(f">{name}<") for name in ("lost", "odd", "c0", "c5")]
    assert order == sorted(order)
    assert page.count("◆ ") == 1 and "◆ 0 to 150" in page
    assert 'href="odd/report.html"' in page and 'href="lost/report.html"' not in page
    assert "&lt;no such&gt; file" in page and "1 not finished" in page and "not a medical device" in page


def test_an_empty_cell_means_not_known():
    other = dataclasses.replace(made("b"), ranges={"l_knee": {"flexion": (1.0, 2.0)}}, converged=None)
    table = list(csv.DictReader(io.StringIO(table_of([made("a"), other]))))
    assert table[0]["l_knee_flexion_min_deg"] == "" and table[1]["r_knee_flexion_max_deg"] == ""
    assert table[1]["l_knee_flexion_max_deg"] == "2.000" and table[1]["converged"] == ""


def told_to(stream) -> None:
    with BatchProgress(stream) as progress:
        progress.began(2, 2)
        progress.of("a", 3, 10, "solving")
        progress.finished(made("a"), False)
        progress.finished(made("b", state=FAILED, reason="no file"), False)


def test_a_log_has_a_line_for_each_and_redraws_nothing():
    log = io.StringIO()
    told_to(log)
    assert log.getvalue().splitlines() == [
        "bodyfit: 2 captures, 2 at a time",
        "bodyfit: 1 of 2, a: done in 1.0 s",
        "bodyfit: 2 of 2, b: failed: no file",
    ]


def test_a_terminal_is_redrawn_and_keeps_what_failed():
    theirs, ours = pty.openpty()
    with os.fdopen(ours, "w") as terminal:
        told_to(terminal)
        time.sleep(0.1)
        text = os.read(theirs, 100_000).decode()
    os.close(theirs)
    assert "\x1b[" in text and "b: failed: no file" in text and "2/2" in text
