"""The comparison: cases, scores of invented errors, the command, going on after an interruption."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import pickle
import shutil
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from rich.console import Console
from scipy.spatial.transform import Rotation, Slerp

import bodyfit
from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint, Segment
from bodyfit.body.person import Person
from bodyfit.commands.main import main
from bodyfit.commands.terminal.comparison import print_comparison
from bodyfit.core.fingerprints import fingerprint
from bodyfit.errors import CannotReconstructError, InputError
from bodyfit.files.capture.writer import write_capture
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.pose_tables import read_segments
from bodyfit.recording.capture import Capture
from bodyfit.study.accuracy.recording_conditions import Circumstances, circumstances
from bodyfit.study.accuracy.reference import Reference
from bodyfit.study.accuracy.rotation_error import (
    Pair,
    best_lag,
    ends_removed,
    main_axis,
    rotation_rms,
    split_about,
)
from bodyfit.study.accuracy.score_motion import neighbours
from bodyfit.study.accuracy.scores import Score, scored
from bodyfit.study.comparison import compare as comparing_jobs
from bodyfit.study.comparison import run_case as comparing
from bodyfit.study.comparison.cases import SETS, Case, cases_of, full_case, sensors_of
from bodyfit.study.comparison.compare import Comparison
from bodyfit.study.comparison.files import read_case, write_case
from bodyfit.study.comparison.moving_figure import moving_figure, parts_of
from bodyfit.study.comparison.page import comparison_page
from bodyfit.study.comparison.result import CaseResult

DEMO = Path(__file__).resolve().parents[2] / "demo_captures" / "cello_arm"
TRUTH = DEMO / "truth" / "segments.csv.gz"
ALL = ("accelerometer", "gyroscope", "magnetometer")
ONE = Score(1.5, 1.0, 3.0, 0.7, 1.4, 0.5, None, None, 1.0, 2.0, None, None, 88.0, 1.4, 0.5, 0.95)
NASTY = '</script><img src="https://x.example/y">"&'


@pytest.fixture(scope="module")
def capture() -> Capture:
    """Nine seconds of the cellist."""
    return bodyfit.read_capture(DEMO).between(0.0, 9.0)


@pytest.fixture(scope="module")
def folder(capture, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("capture") / "cellist"
    write_capture(capture, path)
    return path


def run(*words: object) -> Result:
    return CliRunner().invoke(main, ["compare", *map(str, words)])


def rows_of(out: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((out / "comparison.csv").read_text())))


def turning(count: int = 400) -> tuple[np.ndarray, Rotation]:
    time = np.arange(count) / 100
    return time, Rotation.from_euler("YZX", np.stack([np.sin(2 * time), time, np.cos(3 * time)], 1))


# ---- cases ----


def test_every_set_that_the_capture_has_is_solved_with_the_body_and_without(capture):
    cases = cases_of(capture)
    assert len(cases) == 14 and {case.body for case in cases} == {True, False}
    assert {case.sensors for case in cases} == {s for s in SETS if s != ("orientation",)}
    only = dataclasses.replace(
        capture, units={n: u.only(frozenset(ALL[:2])) for n, u in capture.units.items()}
    )
    assert {case.sensors for case in cases_of(only)} == {ALL[:1], ALL[1:2], ALL[:2]}


def test_units_are_left_out_one_by_one_and_together_with_the_body(capture):
    left = [case for case in cases_of(capture, ["all"], True, [["hand", "forearm"]]) if case.leave_out]
    assert {case.leave_out for case in left} == {
        *((name,) for name in capture.units),
        ("forearm", "hand"),
    }
    assert all(case.body and case.sensors == ALL for case in left)


def test_the_full_set_is_always_among_those_asked_for(capture):
    assert {case.sensors for case in cases_of(capture, ["gyro+acc"])} == {ALL[:2], ALL}


@pytest.mark.parametrize("word", ["acc+gyr0", "", "acc+", "orientation"])
def test_a_set_that_there_is_not_is_refused(word):
    with pytest.raises(InputError, match="expected one of accelerometer, gyroscope, magnetometer, all"):
        sensors_of(word, ALL)


def test_a_unit_that_there_is_not_is_refused(capture):
    with pytest.raises(InputError, match="did you mean 'hand'"):
        cases_of(capture, None, False, [["hnad"]])


# ---- scores ----


def test_a_heading_error_is_about_an_upright_axis():
    """Worked by hand: 10° about +Y and 1° about +X, in turns, both signs."""
    error = np.radians([[0, 10, 0], [0, -10, 0], [1, 0, 0], [-1, 0, 0]])
    elevation, about, across = np.degrees(main_axis(error))
    assert elevation == pytest.approx(90)
    assert (about, across) == pytest.approx((10 / np.sqrt(2), 1 / np.sqrt(2)))


def test_an_error_is_split_into_a_turn_about_an_axis_and_a_tilt_of_it():
    """Twist then swing, put together with scipy's Euler angles: 30° about +Y after 4° about +X."""
    turns = Rotation.from_euler("YX", [[30, 4], [-170, 0], [0, 5]], degrees=True)
    about, across = np.degrees(split_about(turns.as_rotvec(), np.array([0.0, 1.0, 0.0])))
    np.testing.assert_allclose(about, [30, -170, 0], atol=1e-9)
    np.testing.assert_allclose(across, [4, 0, 5], atol=1e-6)


def bent_over_time(time: np.ndarray, axis: list[float], angle_deg: np.ndarray, **options):
    """Two segments as they truly turn; the lower one is found turned off, in the world."""
    _, true = turning(len(time))
    found = Rotation.from_rotvec(np.radians(angle_deg)[:, None] * np.array(axis)) * true
    parent = Rotation.from_euler("YX", np.stack([time, 0.3 * time], 1))
    pair, above = (Pair(time, parent.inv() * R, time, parent.inv() * true) for R in (found, true))
    return scored(
        pair, dataclasses.replace(above, true=parent), 0.0, options.get("field"), options.get("meanwhile")
    )


def test_errors_are_said_to_be_in_heading_or_about_the_field():
    """Invented: an error about the vertical, one about a field that dips by 65°, and one about every axis."""
    time = np.arange(400) / 100
    dip = np.radians(65)
    field = np.array([np.cos(dip), -np.sin(dip), 0.0])
    heading = bent_over_time(time, [0.0, 1.0, 0.0], 5 * time, field=field).score
    assert heading.which_way == "heading" and heading.inclination_deg < 1e-3
    assert heading.heading_deg == pytest.approx(np.sqrt(np.mean((5 * time) ** 2)), rel=3e-3)
    about = bent_over_time(time, list(field), 5 * time, field=field).score
    assert about.which_way == "about the field" and (about.across_field_deg or 0) < 1e-3
    assert about.inclination_deg > 1
    assert bent_over_time(time, [1.0, 0.0, 0.0], 5 * time).score.which_way == "one axis, 0° from level"


def test_errors_are_told_apart_by_what_went_on(capture):
    """Wrong by 1° at rest and 9° when shaken; the field is as usual, so nothing is said about it."""
    time = np.arange(400) / 100
    shaken = np.where(time < 2, 0.1, 8.0)
    calm = Circumstances(time, shaken, np.full(400, 0.01))
    score = bent_over_time(time, [0.0, 1.0, 0.0], np.where(time < 2, 1.0, 9.0), meanwhile=calm).score
    assert (score.quiet_deg, score.shaken_deg) == pytest.approx((1.0, 9.0), abs=1e-3)
    assert score.clean_deg is None and score.bent_deg is None
    there = circumstances(capture)
    assert there.shaken is not None and there.bent is not None
    assert len(there.time) == len(there.shaken) == 18 and np.all(there.shaken > 0)


def test_the_field_shows_where_it_points_in_the_true_world(capture):
    """The field that the invented arm was simulated in, its heading left open; iron near by bends it some."""
    truth = read_segments(TRUTH)
    full = comparing.solved(capture, full_case(capture))
    told = comparing.told(capture, Reference(truth.time, truth.rotations), full)
    assert told.magnetic is not None and np.linalg.norm(told.magnetic) == pytest.approx(1)
    dip = json.loads((DEMO / "truth" / "truth.json").read_text())["magnetic_field"]["dip"]
    assert -np.arcsin(told.magnetic[1]) == pytest.approx(dip, abs=np.radians(3))


def test_neighbours_of_a_gap_of_any_length():
    """A chain a-b-c-d, and a root whose branches are worn."""
    joints = {f"{p}{c}": Joint(f"{p}{c}", p, c) for p, c in ("ab", "bc", "cd", "be")}
    model = BodyModel("tree", {n: Segment(n) for n in "abcde"}, joints)
    assert set(neighbours(model, ["b", "c"], dict.fromkeys("abcde"))) == {("a", "e"), ("a", "d")}
    assert neighbours(model, ["a", "b"], dict.fromkeys("abcde")) == [("c", "e")]
    assert neighbours(model, ["b"], dict.fromkeys("bcde")) == []


def test_a_truth_with_gaps_is_read_where_it_is_known(tmp_path):
    path = tmp_path / "truth.csv"
    path.write_text("time_s,a_qx,a_qy,a_qz,a_qw\n0,0,0,0,1\n1,,,,\n2,0,1,0,0\n")
    table = read_segments(path, gaps=True)
    assert table.seen["a"].tolist() == [True, False, True]
    time, turns = Reference(table.time, table.rotations, table.seen).track("a")
    assert time.tolist() == [0, 2] and np.degrees(turns.magnitude()).tolist() == [0, 180]
    with pytest.raises(InputError):
        read_segments(path)


def test_constant_rotations_at_the_ends_are_counted_out():
    _, true = turning()
    found = Rotation.from_rotvec([0.2, -0.1, 0.1]) * true * Rotation.from_rotvec([-0.1, 0.3, 0.0])
    assert rotation_rms(found, true) > 10
    assert rotation_rms(found, ends_removed(found, true)) < 1e-3


def test_a_clock_offset_is_found():
    time, true = turning()
    inner = time[10:-10]
    late = Pair(inner, Slerp(time, true)(inner + 0.015), time, true)
    assert best_lag([late]) == pytest.approx(0.015)


def test_a_result_returns_from_its_data_unchanged(tmp_path):
    score = dataclasses.replace(ONE, band_share=None)
    curve = {"time_s": [0.0, 1.0], "all": [1.0, None]}
    result = CaseResult(
        Case(ALL, False, ("hand",)),
        {"j": score, "a": score},
        score,
        {"a to b": score},
        {"b": score},
        curve,
        {"heading": [0.5, None]},
    )
    write_case(tmp_path, "k", result)
    again = read_case(tmp_path, "k")
    assert again == result and read_case(tmp_path, "other") is None
    assert again and list(again.joints) == ["j", "a"]  # a run that goes on tells joints in the same order


def test_the_fingerprint_tells_one_sample_apart(capture):
    unit = capture.units["hand"]
    other = unit.gyroscope.copy()
    other[100, 1] += 1e-6
    units = {**capture.units, "hand": dataclasses.replace(unit, gyroscope=other)}
    again = bodyfit.read_capture(DEMO).between(0.0, 9.0)
    assert fingerprint(capture) == fingerprint(again)
    assert fingerprint(capture) != fingerprint(dataclasses.replace(capture, units=units))
    assert fingerprint(Case(ALL, True)) != fingerprint(Case(ALL, False))


def drawn(parts, turns) -> list[np.ndarray]:
    """Where each part's frame stands in the world, mm: the root at zero, others at joints, as on the page."""
    R = Rotation.from_quat(np.reshape(turns, (-1, 4)))
    places = [np.zeros(3)]
    for k, part in list(enumerate(parts))[1:]:
        at = places[part["parent"]] + R[part["parent"]].apply(part["at"])
        places.append(at - R[k].apply(part["joint"]))
    return places


def test_a_figure_hangs_from_its_root_and_turns_with_it():
    """Worked by hand: two links of 0.25 m below each other, the lower one bent forward by a right angle."""
    chain = BodyModel(
        "two",
        {"upper": Segment("upper"), "lower": Segment("lower", length=0.25)},
        {"j": Joint("j", "upper", "lower", centre_in_parent=np.array([0.0, -0.25, 0.0]))},
    )
    time, bent = np.array([0.0, 1.0]), Rotation.from_rotvec([[0, 0, 0], [0, 0, np.pi / 2]])
    rotations = {"upper": Rotation.identity(2), "lower": bent}
    parts = parts_of(chain)
    assert [(p["segment"], p["parent"]) for p in parts] == [("upper", -1), ("lower", 0)]
    straight, forward = moving_figure(time, rotations, chain)["turns"]
    assert straight == [0, 0, 0, 10000] * 2
    assert forward == [0, 0, 0, 10000, 0, 0, 7071, 7071]
    below = [0, -250, 0]

    def end(turns):
        """Of the lower link, where its own −Y of 250 mm ends."""
        return drawn(parts, turns)[1] + Rotation.from_quat(turns[4:]).apply(below)

    np.testing.assert_allclose(drawn(parts, forward)[1], below, atol=0.1)
    np.testing.assert_allclose(end(straight), [0, -500, 0], atol=0.1)
    np.testing.assert_allclose(end(forward), [250, -250, 0], atol=0.1)
    about = Rotation.from_rotvec([[0, np.pi / 2, 0]] * 2)
    aside = moving_figure(time, rotations, chain, about)["turns"][1]
    np.testing.assert_allclose(end(aside), [0, -250, -250], atol=0.1)


def test_a_figure_stands_where_the_poses_of_the_body_are():
    """Joint centres against `PoseSequence`, which pinocchio places; a head above, a foot below."""
    body = read_model("whole_body").scaled(Person(stature_m=1.75))
    rng = np.random.default_rng(3)
    turns = {name: Rotation.from_rotvec(rng.normal(0, 0.3, (2, 3))) for name in body.segments}
    found = drawn(parts_of(body), moving_figure(np.array([0.0, 1.0]), turns, body)["turns"][0])
    placed = PoseSequence(np.array([0.0, 1.0]), turns, body).positions
    assert placed is not None
    for part, at in zip(parts_of(body), found, strict=True):
        want = placed[part["segment"]][0] - placed[body.root][0]
        np.testing.assert_allclose(at / 1000, want, atol=2e-3)
    shapes = {part["segment"]: part["shape"] for part in parts_of(body)}
    head, foot = shapes["skull"], shapes["l_hindfoot"]
    assert max(head[1::3]) > 150 and min(foot[1::3]) < -40  # mm, in their own frames


# ---- the command ----


@pytest.fixture(scope="module")
def compared(folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("compared")
    words = ("--reference", TRUTH, "--sets", "acc+gyro", "--leave-out", "forearm", "--jobs", 1)
    return out, run(folder, "--out", out, *words)


def test_a_capture_compared_with_its_truth(compared, capture):
    """Figures of one case against scipy's own angles between rotations."""
    out, result = compared
    assert result.exit_code == 0, result.output
    rows = {(r["sensors"], r["body"], r["left_out"], r["kind"], r["name"]): r for r in rows_of(out)}
    assert len({key[:3] for key in rows}) == 5
    fit, truth = bodyfit.fit(capture, sensors=ALL[:2]), read_segments(TRUTH)
    at = (fit.time > truth.time[0]) & (fit.time < truth.time[-1])
    found, true = (r["r_upperarm"].inv() * r["r_forearm"] for r in (fit.rotations, truth.rotations))
    angle = np.degrees((found[at] * Slerp(truth.time, true)(fit.time[at]).inv()).magnitude())
    row = rows["accelerometer+gyroscope", "yes", "", "joint", "r_elbow"]
    assert float(row["rmse_deg"]) == pytest.approx(np.sqrt(np.mean(angle**2)), abs=2e-3)
    assert float(row["median_deg"]) == pytest.approx(np.median(angle), abs=2e-3)
    assert float(row["p95_deg"]) == pytest.approx(np.percentile(angle, 95), abs=2e-3)
    pose_counted_out = rows["+".join(ALL), "yes", "", "all", ""]["ends_removed_deg"]
    assert float(pose_counted_out) < 4  # she stood up to 15° off the pose she was asked for; see its README
    assert ("+".join(ALL[:2]), "yes", "forearm", "gap", "r_upperarm to r_hand") in rows
    assert ("+".join(ALL[:2]), "yes", "forearm", "inferred", "r_forearm") in rows


def test_solutions_are_drawn_beside_the_truth(compared):
    """Every solution turns as many parts as the body has; an arm reaches further than its hand."""
    text = (compared[0] / "comparison.html").read_text()
    told = json.loads(text.split('id="motions">')[1].split("</script>")[0])
    assert len(told["figures"]) == 5 and told["truth"]
    for figure in (told["truth"], *told["figures"]):
        turns = np.array(figure["turns"])
        assert len(figure["time_s"]) == len(turns) <= 400
        assert turns.shape[1] == 4 * len(told["parts"])
        places = drawn(told["parts"], turns[0])
        assert np.linalg.norm(places, axis=1).max() > 300  # mm, an arm is longer


def test_curves_have_at_most_600_stretches_and_the_size_of_the_error(compared):
    data = json.loads((compared[0] / "comparison.json").read_text())
    for result in data["results"]:
        curve = np.array(result["curve"]["all"], float)
        assert len(curve) <= 600 and len(curve) == len(result["curve"]["time_s"])
        joints = [score["rmse_deg"] for score in result["joints"].values()]
        assert np.sqrt(np.nanmean(curve**2)) == pytest.approx(np.sqrt(np.mean(np.square(joints))), rel=0.02)


def test_without_a_truth_the_full_solution_is_the_measure(capture):
    full = comparing.full_solution(capture)
    own = comparing.run_case(capture, full_case(capture), full)
    other = comparing.run_case(capture, Case(ALL[:2]), full)
    assert own.overall is not None and other.overall is not None
    assert own.overall.rmse_deg < 0.01 and own.overall.band_share == 1.0
    assert other.overall.rmse_deg > 0.05 and 0 <= (other.overall.band_share or 0) <= 1


@pytest.mark.parametrize(
    ("word", "value", "said"),
    [
        ("--reference", "nowhere.csv", "nowhere.csv"),
        ("--sets", "acc+gyroscpe", "did you mean"),
        ("--leave-out", "hnad", "did you mean 'hand'"),
        ("--jobs", "0", "--jobs"),
    ],
)
def test_a_wrong_word_ends_with_two(folder, tmp_path, word, value, said):
    result = run(folder, "--out", tmp_path / "o", word, value)
    assert result.exit_code == 2 and said in result.output and not (tmp_path / "o").exists()


def test_a_reference_of_another_body_is_refused(folder, tmp_path):
    path = tmp_path / "other.csv"
    path.write_text("time_s,leg_qx,leg_qy,leg_qz,leg_qw\n0,0,0,0,1\n9,0,0,0,1\n")
    result = run(folder, "--out", tmp_path / "o", "--reference", path)
    assert result.exit_code == 2 and "it has leg; expected both segments" in result.output


def test_a_folder_given_as_reference_is_answered_with_the_file_to_name(folder, tmp_path):
    result = run(folder, "--out", tmp_path / "o", "--reference", DEMO)
    said = " ".join(result.output.split())
    assert result.exit_code == 2
    assert f"{DEMO} is a folder; expected a file with the columns of segments.csv, such as {TRUTH}" in said
    result = run(folder, "--out", tmp_path / "o", "--reference", tmp_path)
    assert result.exit_code == 2 and "found none in it" in result.output


def test_processes_are_given_what_they_need(compared, capture):
    """What is sent to them comes out as it went in, and a case of it gives the same."""
    given = capture, comparing.told(capture, bodyfit.read_reference(TRUTH)), False
    work, sent = pickle.loads(pickle.dumps((comparing_jobs._run, given)))
    result = work(sent, Case(ALL[:2]), lambda done, total, what: None)
    (kept,) = [r for r in rows_of(compared[0]) if r["name"] == "r_elbow" and r["body"] == "yes"
               and r["sensors"] == "+".join(ALL[:2]) and not r["left_out"]]  # fmt: skip
    assert result.joints["r_elbow"].rmse_deg == pytest.approx(float(kept["rmse_deg"]), abs=2e-3)


def test_python_compares_as_the_command_does(compared, capture, tmp_path):
    reference = bodyfit.read_reference(TRUTH)
    found = bodyfit.compare(capture, reference, ["all"])
    found.write(tmp_path / "new")
    assert {p.name for p in (tmp_path / "new").iterdir()} == {
        f"comparison.{e}" for e in ("csv", "json", "html")
    }
    ours = rows_of(tmp_path / "new")
    theirs = [r for r in rows_of(compared[0]) if r["sensors"] == "+".join(ALL)]
    assert [r["name"] for r in ours] == [r["name"] for r in theirs]
    for mine, other in zip(ours, theirs, strict=True):
        assert float(mine["rmse_deg"]) == pytest.approx(float(other["rmse_deg"]), abs=2e-3)


# ---- going on ----


@pytest.fixture
def solved_cases(monkeypatch) -> list[Case]:
    """Solving replaced by something quick; the cases that were run."""
    done: list[Case] = []

    def quick(capture, case, reference, align_clock=False):
        done.append(case)
        return CaseResult(case, {"r_elbow": ONE}, ONE)

    monkeypatch.setattr(comparing_jobs, "run_case", quick)
    return done


def test_finished_cases_are_kept_and_a_changed_option_runs_them_again(folder, tmp_path, solved_cases):
    words = (folder, "--out", tmp_path, "--reference", TRUTH, "--sets", "all,gyro", "--jobs", 1)
    assert run(*words).exit_code == 0 and len(solved_cases) == 4
    assert run(*words).exit_code == 0 and len(solved_cases) == 4
    next(iter(sorted((tmp_path / "cases").iterdir()))).write_text('{"case": ')  # as if the disk had failed
    assert run(*words).exit_code == 0 and len(solved_cases) == 5
    assert run(*words, "--leave-out", "hand").exit_code == 0 and len(solved_cases) == 7
    assert run(*words, "--align-clock").exit_code == 0 and len(solved_cases) == 11


def test_a_truth_beside_the_capture_is_used_unless_told_otherwise(folder, tmp_path, solved_cases):
    beside = tmp_path / "capture"
    shutil.copytree(folder, beside)
    (beside / "truth").mkdir()
    shutil.copy(TRUTH, beside / "truth")
    for words, known in (((), True), (("--against-full",), False)):
        out = tmp_path / f"out_{known}"
        assert run(beside, "--out", out, "--sets", "all", "--jobs", 1, *words).exit_code == 0
        assert json.loads((out / "comparison.json").read_text())["to_truth"] is known
    both = run(beside, "--out", tmp_path / "no", "--against-full", "--reference", TRUTH)
    assert both.exit_code == 2 and "expected one of them" in both.output


def test_an_interrupted_run_keeps_what_was_finished(folder, tmp_path, solved_cases, monkeypatch):
    quick = comparing_jobs.run_case

    def stopped(capture, case, reference, align_clock=False):
        if len(solved_cases) == 3:
            raise KeyboardInterrupt
        return quick(capture, case, reference, align_clock)

    words = (folder, "--out", tmp_path, "--reference", TRUTH, "--jobs", 1)
    monkeypatch.setattr(comparing_jobs, "run_case", stopped)
    assert run(*words).exit_code == 130
    assert len(list((tmp_path / "cases").iterdir())) == 3 and not (tmp_path / "comparison.csv").exists()
    monkeypatch.setattr(comparing_jobs, "run_case", quick)
    assert run(*words).exit_code == 0
    assert len(solved_cases) == len(set(solved_cases)) == 14
    assert [row["kind"] for row in rows_of(tmp_path)] == ["all", "joint"] * 14


def test_a_refusal_is_listed_with_its_reason(folder, tmp_path, monkeypatch):
    def refuse(capture, case):
        raise CannotReconstructError("no unit moves;\n  move more")

    monkeypatch.setattr(comparing, "solved", refuse)
    words = ("--reference", TRUTH, "--sets", "all", "--jobs", 1)
    result = run(folder, "--out", tmp_path, *words)
    assert result.exit_code == 0 and "no unit moves; move more" in result.output
    assert [row["refused"] for row in rows_of(tmp_path)] == ["no unit moves; move more"] * 2
    assert "no unit moves; move more" in (tmp_path / "comparison.html").read_text()


# ---- the page ----


class Page(HTMLParser):
    """Tags that are open, and addresses that are loaded."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.loaded: list[str | None] = []
        self.tags: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.loaded += [value for name, value in attrs if name in ("src", "href", "xlink:href", "data")]
        if tag not in ("meta", "img", "link", "input", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)


def nasty() -> Comparison:
    score = ONE
    curve = {"time_s": [0.0, 1.0, 2.0, 3.0], "all": [1.0, None, 5.0, 400.0]}
    figure = {"time_s": [0.0, 1.0], "turns": [[0, 0, 0, 10000], [0, 7071, 0, 7071]]}
    place = {"parent": -1, "at": [0, 0, 0], "joint": [0, 0, 0], "shape": [0] * 9}
    parts = [{"segment": NASTY, "side": "middle"} | place]
    results = (
        CaseResult(Case(ALL), {NASTY: score}, score, {}, {}, curve, {}, figure),
        CaseResult(Case(ALL, False), {NASTY: score}, score, {}, {}, curve),
        CaseResult(
            Case(ALL, True, (NASTY,)),
            {NASTY: score},
            score,
            {f"{NASTY} to b": score},
            {NASTY: score},
            curve,
            {},
            figure,
        ),
        CaseResult(Case(("gyroscope",)), refused=NASTY),
    )
    return Comparison(NASTY, NASTY, True, results, parts, figure)


def test_the_page_is_whole_escaped_and_loads_nothing():
    text = comparison_page(nasty())
    page = Page(text)
    assert page.open == [] and page.tags.count("script") == 3 and "img" not in page.tags
    assert page.tags.count("canvas") == 2  # one for each figure
    numbers = json.loads(text.split('id="motions">')[1].split("</script>")[0])
    assert numbers["parts"][0]["segment"] == NASTY and len(numbers["figures"]) == 2
    assert all(str(address).startswith(("#", "data:,")) for address in page.loaded) and page.loaded
    assert "default-src 'none'" in text and "https://x.example" in text and 'src="https' not in text
    assert text.count("<polyline") == 4  # two curves with a gap in each
    assert "@media print" in text and "max-width: 600px" in text


def test_printed_names_are_no_markup_and_lines_fit():
    out = io.StringIO()
    named = dataclasses.replace(nasty(), title="[bold]x[/bold]")
    print_comparison(named, [Path("a.csv")], Console(file=out, width=100, highlight=False))
    text = out.getvalue()
    assert "[bold]x[/bold]" in text and "refused" in text and "a.csv" in text
    assert max(map(len, text.splitlines())) <= 100
