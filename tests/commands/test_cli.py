"""The command: exit codes, messages, what is printed, and how quickly it answers."""

from __future__ import annotations

import dataclasses
import io
import os
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path
from types import ModuleType, SimpleNamespace

import numpy as np
import pytest
from example_fit import chain, chain_summary, fit_of, poses_of
from example_summary import unit
from rich.console import Console

import bodyfit
from bodyfit.commands import progress_bar as progress
from bodyfit.commands.main import main
from bodyfit.commands.progress_bar import Progress
from bodyfit.commands.terminal.fit_table import print_fit
from bodyfit.core.findings import Finding
from bodyfit.errors import CannotReconstructError, InputError
from bodyfit.files.capture.writer import write_capture
from bodyfit.files.fit_folder import FILES
from bodyfit.recording.capture import Capture, Unit
from bodyfit.results.joints import JointHeadingFigures
from bodyfit.results.summary import Summary

HEAVY = ("numpy", "scipy", "pandas", "pyarrow", "pinocchio", "casadi", "trimesh", "vqf", "rich")


def replace_function(monkeypatch, module: str, function) -> None:
    stand_in = ModuleType(module)
    setattr(stand_in, function.__name__, function)
    monkeypatch.setitem(sys.modules, module, stand_in)


@pytest.fixture
def two_units(monkeypatch):
    """Any folder reads as a capture of two units with nothing in them."""

    def read_capture(path):
        units = [Unit(f"{name}_unit", name, np.arange(3.0), np.zeros((3, 3))) for name in "ab"]
        return Capture({unit.name: unit for unit in units}, chain())

    replace_function(monkeypatch, "bodyfit.files.capture.folder", read_capture)


@pytest.fixture
def stages(monkeypatch, two_units):
    """Fitting replaced by something quick; `asked` holds what it was called with."""
    made = SimpleNamespace(asked={}, result=fit_of(poses_of(chain())), problem=None)

    def fit(capture, **options):
        made.asked.update(options)
        options["progress"](1, 2, "solving")
        if made.problem:
            raise made.problem
        return made.result

    replace_function(monkeypatch, "bodyfit.fitting.fit", fit)
    return made


@pytest.fixture
def run(capsys):
    """Runs the command; gives its exit code, output and error output."""

    def run_command(*words: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as end:
            main([str(word) for word in words], prog_name="bodyfit")
        captured = capsys.readouterr()
        return int(end.value.code or 0), captured.out, captured.err

    return run_command


# --- fit ---


def test_fit_writes_the_files_prints_a_table_and_ends_with_zero(stages, run, tmp_path):
    code, out, err = run("fit", "lamp_lighter", "--out", tmp_path / "out")
    assert code == 0 and err == ""
    assert sorted(os.listdir(tmp_path / "out")) == sorted(FILES)
    assert "first" in out and "a_unit" in out and out.rstrip().endswith(", ".join(FILES))


def test_fit_passes_its_options_on(stages, run, tmp_path):
    words = [
        "--sensors",
        "accelerometer, gyroscope",
        "--alone",
        "--leave-out",
        "b_unit",
        "--strict-ranges",
        "--assign",
        "auto",
    ]
    assert run("fit", "x", "--out", tmp_path, *words)[0] == 0
    stages.asked.pop("progress")
    assert stages.asked == {
        "sensors": {"accelerometer", "gyroscope"},
        "alone": True,
        "leave_out": ("b_unit",),
        "strict_ranges": True,
        "assign": "auto",
        "usual_postures": True,
        "same_person": None,
    }


def test_fit_uses_every_sensor_and_the_body_unless_told_otherwise(stages, run, tmp_path):
    run("fit", "x", "--out", tmp_path)
    stages.asked.pop("progress")
    usual = {
        "sensors": None,
        "alone": False,
        "leave_out": (),
        "strict_ranges": False,
        "assign": "given",
        "usual_postures": True,
        "same_person": None,
    }
    assert stages.asked == usual


@pytest.mark.parametrize(("error", "code"), [(CannotReconstructError, 1), (InputError, 2)])
def test_what_bodyfit_refuses_is_one_paragraph_and_an_exit_code(stages, run, tmp_path, error, code):
    stages.problem = error("units.a: no motion;\n  move more and record again")
    assert run("fit", "x", "--out", tmp_path / "o") == (
        code,
        "",
        "bodyfit: units.a: no motion; move more and record again\n",
    )
    assert not (tmp_path / "o").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--sensors", "gyro"], "found 'gyro'; expected one of accelerometer, gyroscope"),
        (["--sensors", "accelerometr"], "did you mean 'accelerometer'?"),
        (["--sensors", "accelerometer,,gyroscope"], "found ''"),
        (["--leave-out", "aunit"], "no unit 'aunit' in the capture; expected one of a_unit, b_unit"),
        (["--leave-out", "aunit"], "did you mean 'a_unit'?"),
        (["--leaf-out", "x"], "--leave-out"),
    ],
)
def test_a_wrong_word_ends_with_two_and_a_suggestion(two_units, run, tmp_path, words, said):
    code, out, err = run("fit", "x", "--out", tmp_path / "o", *words)
    assert (code, out) == (2, "") and said in err
    assert not (tmp_path / "o").exists()


def test_out_that_is_a_file_is_refused_before_the_work(stages, run, tmp_path):
    (tmp_path / "out").write_text("mine")
    code, _, err = run("fit", "x", "--out", tmp_path / "out")
    assert code == 2 and "is a file, expected a folder" in err and not stages.asked
    assert (tmp_path / "out").read_text() == "mine"


def test_fit_without_out_says_what_is_missing(run):
    code, _, err = run("fit", "x")
    assert code == 2 and "'--out'" in err


@pytest.mark.parametrize(("number", "code"), [(signal.SIGTERM, 143), (signal.SIGINT, 130)])
def test_a_stopped_run_leaves_nothing_and_says_so_by_its_exit_code(
    stages, run, tmp_path, monkeypatch, number, code
):
    from bodyfit.files import fit_folder as outputs

    def stop(file, **_):
        file.write(b"half")
        os.kill(os.getpid(), number)
        time.sleep(1)

    def ours(*_):
        pytest.fail("the command did not take the signal")

    monkeypatch.setattr(outputs, "write_pose", stop)
    before = signal.signal(signal.SIGTERM, ours)
    try:
        assert run("fit", "x", "--out", tmp_path / "out")[0] == code
        assert os.listdir(tmp_path) == [] and signal.getsignal(signal.SIGTERM) is ours
    finally:
        signal.signal(signal.SIGTERM, before)


# --- help, version, start-up ---


def python(*words: str) -> subprocess.CompletedProcess:
    folder = Path(bodyfit.__file__).parents[1]
    return subprocess.run(
        [sys.executable, *words], cwd=folder, capture_output=True, text=True, check=True, timeout=60
    )


def test_help_answers_in_under_0_4_s():
    def seconds() -> float:
        start = time.perf_counter()
        assert "simulate" in python("-m", "bodyfit", "--help").stdout
        return time.perf_counter() - start

    assert min(seconds() for _ in range(3)) < 0.4


@pytest.mark.parametrize("module", ["bodyfit", "bodyfit.commands.main"])
def test_nothing_heavy_is_loaded_before_it_is_needed(module):
    loaded = set(python("-c", f"import sys, {module}; print(*sys.modules)").stdout.split())
    assert module in loaded and not loaded & set(HEAVY)


def test_a_fit_does_without_what_takes_long_to_load(tmp_path):
    demo = Path(bodyfit.__file__).parents[1] / "demo_captures" / "cello_arm"
    write_capture(bodyfit.read_capture(demo).between(0.0, 6.0), tmp_path / "capture", ".csv")
    words = ["fit", str(tmp_path / "capture"), "--out", str(tmp_path)]
    call = f"main({words!r}, standalone_mode=False)"
    text = python(
        "-c", f"import sys; from bodyfit.commands.main import main; {call}; print(*sys.modules)"
    ).stdout
    loaded = set(text.splitlines()[-1].split())
    assert "pyarrow" in loaded and not loaded & {
        "pandas",
        "scipy.signal",
        "matplotlib",
        "xarray",
        "pinocchio",
    }


def test_help_of_each_command_is_listed_and_opens(run):
    code, out, _ = run("--help")
    assert code == 0
    for name in ("fit", "simulate"):
        assert name in out and run(name, "--help")[0] == 0


def test_unknown_command_is_suggested(run):
    code, _, err = run("fitt")
    assert code == 2 and "fitt" in err


def test_version_is_that_of_the_project(run):
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    assert project.get("version", bodyfit.__version__) == bodyfit.__version__
    assert run("--version") == (0, f"bodyfit {bodyfit.__version__}\n", "")


@pytest.mark.parametrize("name", bodyfit.__all__)
def test_every_public_name_is_there(name):
    assert getattr(bodyfit, name) is not None


def test_every_public_name_is_listed_before_it_is_loaded():
    listed = set(python("-c", "import bodyfit; print(*dir(bodyfit))").stdout.split())
    assert set(bodyfit.__all__) <= listed


def test_fit_is_the_function_even_after_its_module_is_imported():
    import bodyfit.fitting.fit

    assert callable(bodyfit.fit) and not isinstance(bodyfit.fit, ModuleType)


def test_an_unknown_public_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'fitt'"):
        _ = bodyfit.fitt


# --- the printed table ---


SUMMARY = chain_summary(poses_of(chain()))


def printed(
    summary: Summary, width: int = 200, findings: tuple[Finding, ...] = (), everything: bool = False
) -> str:
    text = io.StringIO()
    console = Console(file=text, width=width, highlight=False)
    print_fit(summary, [Path("out/segments.csv")], findings, console, everything)
    return text.getvalue()


def test_table_shows_what_was_found_and_how_good_it_is():
    lines = [" ".join(line.split()) for line in printed(SUMMARY).splitlines()]
    assert "first flexion -12.3 56.8 parent 10 -280 4 ± 3 0.41 1.3" in lines
    assert "ball child 0 123 0 ± 6" in lines
    assert "second flexion 0.0 1.5 – – unknown" in lines
    assert "hinge axis 0.00 0.00 1.00" in lines
    assert "second: it never moved" in lines
    assert "a_unit a acc, gyro 0.12 -0.35 1.00 given 83 2" in lines
    assert "b_unit b fused – given – 0" in lines
    assert "solver 12 iterations, the last by 0.012°, 1.9 s" in lines


def found(kind: str, unit: str, severity: str = "warning", start: float = 0.0) -> Finding:
    return Finding(
        kind, severity, f"{unit} lies 3 mm off", "fasten it", units=(unit,), start=start, end=start + 1.0,
        threshold=2.0, measure="mm", source="a tape", handled="moved",
    )  # fmt: skip


def test_findings_come_after_the_tables_and_the_files_last():
    text = printed(SUMMARY, findings=(found("off", "c_unit"),))
    assert text.index("b_unit") < text.index("c_unit lies 3 mm off; moved") < text.index("written to")
    assert "to do: fasten it" in text and "findings 1 warning" in text


def test_one_kind_over_many_units_is_one_entry_unless_all_are_asked_for():
    many = tuple(found("off", f"u{k}", start=float(k)) for k in range(60))
    text = " ".join(printed(SUMMARY, findings=many).split())
    assert "u0 lies 3 mm off; 59 more alike: u1, u2," in text and text.count("lies") == 1
    text = printed(SUMMARY, findings=many, everything=True)
    assert text.count("lies 3 mm off") == 60 and text.count("limit 2 mm: a tape") == 60
    assert "59.00–60.00 s: u59" in text


def test_at_most_twenty_lines_of_findings_are_printed():
    kinds = tuple(found(f"kind-{k}", f"u{k}") for k in range(30))
    text = printed(SUMMARY, findings=kinds)
    lines = text[text.index("findings 30 warning") : text.index("written to")].splitlines()[1:]
    assert len(lines) == 21 and lines[-1].strip() == "and 20 more kinds: --all prints everything"


def test_a_finding_that_names_nobody_in_words_is_told_whose_it_is():
    told = found("off", "c_unit")
    told = dataclasses.replace(told, what="it lies 3 mm off")
    assert "warning  c_unit: it lies 3 mm off" in printed(SUMMARY, findings=(told,))


def test_table_fits_a_hundred_columns():
    noted = dataclasses.replace(
        SUMMARY.joints["first"], heading=JointHeadingFigures(1.5, True, "no turn " * 30)
    )
    summary = dataclasses.replace(SUMMARY, joints={"l_metatarsophalangeal": noted, "vl5": noted})
    long = dataclasses.replace(found("off", "u"), what="much " * 50)
    assert max(map(len, printed(summary, findings=(long,)).splitlines())) <= 100


def test_what_is_not_known_is_printed_as_a_dash():
    bare = dataclasses.replace(SUMMARY, capture="", units={"a_unit": unit("a")}, joints={})
    text = " ".join(printed(bare).split())
    assert "capture –" in text and "a_unit a acc, gyro – given – 0" in text


# --- progress ---


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_appears_on_a_terminal_once_it_takes_longer(monkeypatch):
    monkeypatch.setattr(progress, "SHOWN_AFTER", 0.05)
    stream = Terminal()
    with Progress(stream) as note:
        note(1, 4, "solving")
        time.sleep(0.4)
        note(2, 4, "writing pose.glb")
        time.sleep(0.3)
    assert "solving" in stream.getvalue() and "writing pose.glb" in stream.getvalue()


def test_progress_of_a_quick_run_is_silent():
    stream = Terminal()
    with Progress(stream) as note:
        note(1, 4, "solving")
    assert stream.getvalue() == ""


def test_progress_writes_a_line_now_and_then_where_there_is_no_terminal(monkeypatch):
    monkeypatch.setattr(progress, "LINE_EVERY", 0.05)
    stream = io.StringIO()
    with Progress(stream) as note:
        note(1, 4, "solving")
        time.sleep(0.06)
        note(2, 4, "solving")
        note(3, 4, "solving")
    assert stream.getvalue() == "bodyfit: solving, 2 of 4\n"
