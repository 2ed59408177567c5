"""The plan: tolerances, information bounds, the search, the command, going on after an interruption."""

from __future__ import annotations

import csv
import io
import json
import math
import pickle
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from rich.console import Console
from scipy.spatial.transform import Rotation
from scipy.stats import binomtest

from bodyfit.body.motion.poses import PoseSequence
from bodyfit.commands.main import main
from bodyfit.commands.terminal.plan import print_plan
from bodyfit.errors import InputError
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.simulation.grades import grade_names, read_grade
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate
from bodyfit.study.planning import plan as planning_jobs
from bodyfit.study.planning.files import read_job, write_job
from bodyfit.study.planning.page import plan_page
from bodyfit.study.planning.question import NINE, SIX, Question, WornSet, stretch, tolerances
from bodyfit.study.planning.search import HOPELESS, Job, every_set, search
from bodyfit.study.planning.set_result import wilson
from bodyfit.study.planning.systematic_errors import tissue_effects
from bodyfit.study.planning.trial import bound, trial

DEMO = Path(__file__).resolve().parents[2] / "demo_captures" / "cello_arm"
ELBOW = ("r_upperarm", "r_forearm")
NASTY = '</script><img src="https://x.example/y">"&'


@pytest.fixture(scope="module")
def bowing() -> PoseSequence:
    """Six seconds of the cellist."""
    whole = read_motion(DEMO / "truth" / "segments.csv.gz", read_model("right_arm"))
    return stretch(whole, 20.0, 26.0)


def asked(motion: PoseSequence, *words: str, **more) -> Question:
    return Question(motion, tolerances(words or ("r_elbow=5",), motion), **more)


def worn(*segments: str, kind: tuple[str, ...] = SIX) -> WornSet:
    return WornSet(tuple((segment, kind) for segment in segments))


def run(*words: object) -> Result:
    return CliRunner().invoke(main, ["plan", *map(str, words)])


# ---- what is asked ----


def test_the_word_that_names_more_goes_first(bowing):
    found = tolerances(["r_elbow.flexion=2", "5", "r_elbow=3"], bowing)
    assert len(found) == 9
    assert found["r_elbow", "flexion"] == pytest.approx(math.radians(2))
    assert found["r_elbow", "pronation"] == pytest.approx(math.radians(3))
    assert found["r_shoulder", "elevation"] == pytest.approx(math.radians(5))


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("r_elbo=5", "did you mean 'r_elbow'"),
        ("r_elbow.flexon=5", "did you mean 'flexion'"),
        ("r_elbow=five", "found 'five', expected degrees"),
        ("-3", "found '-3', expected degrees"),
    ],
)
def test_a_tolerance_that_means_nothing_is_refused(bowing, word, said):
    with pytest.raises(InputError, match=said):
        tolerances([word], bowing)


def test_a_stretch_outside_of_the_motion_is_refused(bowing):
    with pytest.raises(InputError, match=r"the motion lasts 0\.00 to 6\.00 s"):
        stretch(bowing, 4.0, 20.0)


def test_a_stretch_is_the_middle_by_default_and_starts_at_zero():
    whole = read_motion(DEMO / "truth" / "segments.csv.gz", read_model("right_arm"))
    part = stretch(whole)
    assert part.time[0] == 0 and part.time[-1] == pytest.approx(15.0, abs=0.03)
    middle = whole.rotations["r_hand"][int(np.searchsorted(whole.time, whole.time.mean()))]
    nearest = part.rotations["r_hand"][int(np.searchsorted(part.time, 7.5))]
    assert (middle.inv() * nearest).magnitude() < math.radians(3)


def test_segments_and_probability_are_checked(bowing):
    with pytest.raises(InputError, match="did you mean 'r_hand'"):
        asked(bowing, segments=("r_hnd",))
    with pytest.raises(InputError, match=r"found 1\.5, expected 0\.5 to below 1"):
        asked(bowing, probability=1.5)


def test_the_interval_of_a_share_is_that_of_scipy():
    for met, trials in ((0, 12), (7, 12), (36, 36), (59, 60)):
        ours = wilson(met, trials)
        theirs = binomtest(met, trials).proportion_ci(0.95, "wilson")
        assert ours == pytest.approx((theirs.low, theirs.high), abs=2e-5)


def test_grades_are_read_and_the_research_one_is_better():
    consumer, research = read_grade("consumer"), read_grade("research")
    assert grade_names() == ["consumer", "research"]
    for name in ("gyroscope_bias_sd", "accelerometer_bias_sd", "magnetometer_noise_sd", "scale_error_sd"):
        assert 0 < getattr(research, name) < getattr(consumer, name)
    with pytest.raises(InputError, match="did you mean 'consumer'"):
        read_grade("consumr")


# ---- sets ----


def test_sets_are_counted_and_named(bowing):
    question = asked(bowing)
    assert len(every_set(question)) == 3**4 - 1
    two = WornSet((("r_upperarm", NINE), ("r_forearm", SIX)))
    assert (two.units, two.axes) == (2, 15)
    assert two.name == "r_upperarm: acc+gyro+mag; r_forearm: acc+gyro"
    assert set(two.smaller(question.kinds)) == {
        worn("r_forearm"),
        WornSet((("r_upperarm", NINE),)),
        worn(*ELBOW),
    }


# ---- bounds ----


def test_tissue_effects_are_what_the_simulator_does(bowing):
    """The bone's turn, and its joint as seen by a unit that thinks itself rigid; ends, where differences
    are one-sided, left out.
    """
    made = simulate(
        bowing, ELBOW, SimulationSettings.perfect(soft_tissue_deg_per_g=3.0, soft_tissue_mm_per_g=5.0)
    )
    for segment, effect in tissue_effects(made, list(made.units)).items():
        unit, bone = made.units[f"{segment}_unit"], made.truth.rotations[segment]
        turned, inner = -bone.apply(unit.soft_turn), slice(20, -20)
        constants, *_ = np.linalg.lstsq(effect.turn[..., :6].reshape(-1, 6), turned.ravel(), rcond=None)
        miss = effect.turn[..., :6] @ constants - turned
        assert np.abs(miss[inner]).max() < 0.02 * np.abs(turned).max()
        constants = np.append(constants, 0.005)
        joint = made.truth.model.joints["r_elbow"]
        centre = joint.centre_in_parent if segment == "r_upperarm" else np.zeros(3)
        assert centre is not None and made.truth.positions is not None
        true = made.truth.positions[segment] + bone.apply(centre)
        rigid = unit.rotation * unit.mounting.inv()
        seen = unit.place + rigid.apply(centre - unit.position)
        off = effect.parted["r_elbow"] @ constants
        assert np.abs(off).max() > 5e-4
        assert np.abs(true - seen - off)[inner].max() < 0.06 * np.abs(off).max()


def test_perfect_units_leave_the_mountings_errors(bowing):
    """Worked by hand: the wrist's two mountings, each off by 2° about each axis: √2 · 2° near neutral."""
    perfect = SimulationSettings.perfect(motion_cutoff=10.0)
    question = asked(bowing, "r_radiocarpal=5", settings=perfect, mounting_sd=math.radians(2.0))
    found = bound(question, worn("r_forearm", "r_hand"))
    assert np.degrees(found["r_radiocarpal.rotation"]) == pytest.approx(2.0 * math.sqrt(2), rel=0.05)
    assert np.degrees(found["r_radiocarpal.flexion"]) == pytest.approx(2.0 * math.sqrt(2), rel=0.1)


def test_more_sensors_and_units_never_know_less(bowing):
    question = asked(bowing, "r_elbow=5")
    sets = [worn("r_forearm"), worn(*ELBOW), worn(*ELBOW, kind=NINE), worn("thorax", *ELBOW, kind=NINE)]
    means = [np.mean(list(bound(question, w).values())) for w in sets]
    assert means[0] > 5 * means[1]
    assert np.all(np.diff(means) < 1e-3)


def test_softer_tissue_and_worse_mountings_cost(bowing):
    firm = bound(asked(bowing, settings=SimulationSettings(soft_tissue_deg_per_g=0.5)), worn(*ELBOW))
    soft = bound(asked(bowing, settings=SimulationSettings(soft_tissue_deg_per_g=6.0)), worn(*ELBOW))
    assert all(soft[name] > firm[name] for name in firm)


def test_a_unit_draws_the_same_errors_whatever_else_is_worn(bowing):
    question = asked(bowing, "r_elbow=5")
    two, three = trial(question, worn(*ELBOW), 0), trial(question, worn(*ELBOW, "r_hand"), 0)
    other = trial(question, worn(*ELBOW), 1)
    assert two["r_elbow.pronation"] == pytest.approx(three["r_elbow.pronation"], rel=0.25)
    assert abs(two["r_elbow.pronation"] - other["r_elbow.pronation"]) > 1e-4


# ---- the search, with results that are made up ----


def made_up(question: Question, error_of):
    """A worker that calls error_of(set, recording) in degrees; a negative recording is the bound."""
    asked_for: list[Job] = []

    def work(jobs):
        asked_for.extend(jobs)
        out = []
        for job in jobs:
            numbers = [job.first + i for i in range(job.count)] or [-1]
            rows = [
                {f"{j}.{a}": math.radians(error_of(job.worn, n)) for j, a in question.tolerance}
                for n in numbers
            ]
            out.append([row | ({"slips": 0.0} if job.count else {}) for row in rows])
        return out

    return work, asked_for


def test_the_smallest_set_that_is_enough_is_the_answer(bowing):
    question = asked(bowing)
    work, jobs = made_up(
        question, lambda w, n: 2.0 if {"r_upperarm", "r_forearm"} <= dict(w.worn).keys() else 40.0
    )
    found = search(question, work)
    assert found.answer and found.answer.worn == worn(*ELBOW)
    assert found.exhaustive and len(found.results) == 80
    assert found.answer.chance[0] >= 0.9 and found.answer.trials == question.most_seeds
    simulated = {job.worn for job in jobs if job.count}
    assert all(w.units != 2 or w == worn(*ELBOW) or w in found.best_by(lambda w: w.units) for w in simulated)


def test_where_none_is_enough_the_nearest_and_what_breaks_are_told(bowing):
    question = asked(bowing, "5", most_seeds=24)
    work, _ = made_up(question, lambda w, n: (4.0 if n % 2 or n < 0 else 6.0) if w.units > 1 else 49.0)
    found = search(question, work)
    assert found.answer is None and found.nearest.worn.units == 2
    assert found.nearest.met == 12 and found.nearest.chance[1] < 0.9
    text = _printed(found)
    assert "No set was shown to be enough" in text and "12 of 24 simulated recordings" in text


def test_a_set_for_which_it_stays_unclear_is_not_enough(bowing):
    question = asked(bowing, most_seeds=24)
    work, _ = made_up(question, lambda w, n: 9.0 if n == 7 and w.axes < 36 else 4.0)
    found = search(question, work)
    assert found.answer is None or found.answer.worn.axes == 36
    assert all(r.met < r.trials for r in found.results if r.trials and r.worn.axes < 36)


def test_greedy_search_goes_where_every_set_was_looked_at(bowing):
    """Down to the last set without hope, each step of greedy search is the best of its size among all."""
    question = asked(bowing, "r_elbow=5")
    work, _ = made_up(question, lambda w, n: 2.0 * 12 / w.axes if set(ELBOW) <= dict(w.worn).keys() else 60.0)
    found = search(question, work)
    by_set = {r.worn: r.worst_bound(found.tolerance_deg) for r in found.results}
    hopeful = [w for w in found.greedy if by_set[w] < HOPELESS]
    assert worn(*ELBOW) in hopeful
    for step in hopeful:
        alike = [w for w in by_set if (w.units, w.axes) == (step.units, step.axes)]
        assert by_set[step] == min(by_set[w] for w in alike)


def test_a_plan_becomes_plain_data(bowing):
    question = asked(bowing, most_seeds=12)
    found = search(question, made_up(question, lambda w, n: 3.0)[0])
    data = json.loads(json.dumps(found.as_data()))
    assert data["nearest"]["worn"] == {"r_forearm": ["accelerometer", "gyroscope"]}
    assert data["nearest"]["error_deg"]["r_elbow.flexion"] == pytest.approx(3.0)
    assert data["tolerance_deg"]["r_elbow.flexion"] == pytest.approx(5.0)


# ---- files, page, print, command ----


def test_a_job_returns_as_it_was_kept(tmp_path):
    write_job(tmp_path, "k", [{"a.b": 0.125}])
    assert read_job(tmp_path, "k") == [{"a.b": 0.125}] and read_job(tmp_path, "other") is None
    (tmp_path / "jobs" / "k.json").write_text('{"found": 3}')
    assert read_job(tmp_path, "k") is None


class Loads(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.found += [tag] * (tag in ("script", "img", "link", "iframe"))
        self.found += [
            value or "" for name, value in attrs if name in ("src", "href") and value and value[0] != "#"
        ]


def test_the_page_loads_nothing_and_escapes_names(bowing):
    question = asked(bowing, most_seeds=12)
    found = search(question, made_up(question, lambda w, n: 3.0)[0], about={"motion": NASTY, NASTY: "x"})
    page = plan_page(found)
    loads = Loads()
    loads.feed(page)
    # an empty icon, so that none is asked for, and the script that all pages share
    assert loads.found == ["link", "data:,", "script"] and "not a medical device" in page
    assert NASTY not in page


def dots(page: str, kind: str) -> list[tuple[float, float]]:
    """Places of a chart's marks of one kind: % across, px down."""
    chart = page.split('<svg height="')[1].split("</svg>")[0]
    found = re.findall(rf'<circle class="{kind}" cx="([\d.]+)%" cy="([\d.]+)"', chart)
    return [(float(x), float(y)) for x, y in found]


def test_the_chart_has_every_set_and_the_tolerance_as_a_line(bowing):
    """Sets above the line are over the tolerance; more units stand further right; the answer stands out."""
    question = asked(bowing, most_seeds=12)
    found = search(question, made_up(question, lambda w, n: 9.0 / w.units)[0])
    page = plan_page(found)
    predicted = dots(page, "guess")
    assert len(predicted) == len(found.results)
    line = float(re.findall(r'class="limit" x1="0" x2="100%" y1="([\d.]+)"', page)[0])
    for (across, down), result in zip(predicted, found.results, strict=True):
        over = result.worst_bound(found.tolerance_deg)
        assert (down < line) == (over > 1) or over == pytest.approx(1)
        column = across / 100 * len({r.worn.units for r in found.results})
        assert int(column) == sorted({r.worn.units for r in found.results}).index(result.worn.units)
    tried = [r for r in found.results if r.error_deg and r != found.answer]
    assert len(dots(page, "tried")) == len(tried)
    assert len(dots(page, "answer")) == (found.answer is not None)


def test_what_is_no_bound_is_called_predicted(bowing):
    question = asked(bowing, most_seeds=12)
    found = search(question, made_up(question, lambda w, n: 3.0)[0])
    told = re.sub(r"<(style|script)\b.*?</\1>|<[^>]+>", "", plan_page(found), flags=re.S)
    assert "predicted" in told.lower() and re.findall(r"[^.]*\bbound\b[^.]*", told) == [
        " It is no bound: simulated errors come out some smaller, some larger, and it is the simulated ones "
        "that decide"
    ]


def _printed(found) -> str:
    console = Console(record=True, width=100, file=io.StringIO(), highlight=False)
    print_plan(found, (), console)
    return console.export_text()


def test_what_is_printed_fits_a_terminal(bowing):
    question = asked(bowing, "5", most_seeds=12)
    text = _printed(search(question, made_up(question, lambda w, n: 3.0)[0]))
    assert max(map(len, text.splitlines())) <= 100
    assert "breaks first" in text and "mountings exact" in text


WORDS = (
    DEMO, "--model", "right_arm", "--tolerance", "r_elbow.flexion=12", "--segments", ",".join(ELBOW),
    "--kinds", "acc+gyro", "--between", 20, 26, "--seeds", 12, "--probability", 0.5, "--jobs", 1,
)  # fmt: skip


def test_an_interrupted_plan_goes_on_where_it_was(tmp_path, monkeypatch):
    """With results that are made up; the command with its own: README's example, tests/test_docs.py."""
    finished: list[Job] = []

    def counted(question, job):
        if len(finished) == 4 and not (tmp_path / "again").exists():
            raise KeyboardInterrupt
        finished.append(job)
        work, _ = made_up(question, lambda w, n: 2.0 if set(ELBOW) <= dict(w.worn).keys() else 40.0)
        return work([job])[0]

    monkeypatch.setattr(planning_jobs, "done", counted)
    assert run(*WORDS, "--out", tmp_path).exit_code == 130
    assert len(list((tmp_path / "jobs").iterdir())) == 4 and not (tmp_path / "plan.csv").exists()
    (tmp_path / "again").touch()
    result = run(*WORDS, "--out", tmp_path)
    assert result.exit_code == 0, result.output
    assert len(finished) == len(set(finished))
    data = json.loads((tmp_path / "plan.json").read_text())
    assert data["answer"]["worn"] == {segment: list(SIX) for segment in ELBOW}
    rows = list(csv.DictReader(io.StringIO((tmp_path / "plan.csv").read_text())))
    assert [row["answer"] for row in rows].count("yes") == 1 and len(rows) == 3
    assert "Enough with a probability of at least 50 %" in result.output


def test_processes_are_given_what_they_need(bowing):
    """What is sent to them comes out as it went in, and a job of it gives the same."""
    question, job = asked(bowing), Job(worn(*ELBOW))
    work, sent = pickle.loads(pickle.dumps((planning_jobs._done, question)))
    silent = lambda done, total, what: None  # noqa: E731
    assert work(sent, job, silent) == planning_jobs._done(question, job, silent)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--tolerance", "r_knee=3"), "no joint 'r_knee'"),
        (("--tolerance", "5", "--grade", "best"), "neither a name nor a file"),
        (("--tolerance", "5", "--kinds", "acc+temperature"), "found 'temperature'"),
    ],
)
def test_a_wrong_call_is_refused_with_code_two(tmp_path, words, said):
    result = run(DEMO, "--model", "right_arm", *words, "--out", tmp_path / "out")
    assert result.exit_code == 2 and said in " ".join(result.output.split())
    assert not (tmp_path / "out").exists()


def test_a_folder_without_a_motion_is_refused_with_the_names_looked_for(tmp_path):
    result = run(tmp_path, "--model", "right_arm", "--tolerance", "5", "--out", tmp_path / "out")
    assert result.exit_code == 2 and "a folder without segments.csv or segments.csv.gz" in result.output


@pytest.mark.parametrize(("gain", "axes"), [(1.04, 6), (1.06, 9)])
def test_the_smallest_of_the_sets_that_are_alike_stands_for_its_size(bowing, gain, axes):
    """A magnetometer that makes a bound 4 % better buys nothing; 6 % count."""
    question = asked(bowing, most_seeds=12)
    found = search(question, made_up(question, lambda w, n: 4.0 / (gain if w.axes % 6 else 1.0))[0])
    assert found.best_by(lambda w: w.units)[1].worn.axes == axes


def test_a_unit_reads_the_same_whatever_else_is_worn(bowing):
    """Sets share the simulated recording of all units: as if the set's own had been simulated."""
    from bodyfit.study.planning.trial import drawn

    question, chosen = (
        asked(bowing, segments=("r_upperarm", "r_forearm", "r_hand")),
        worn("r_hand", "r_forearm"),
    )
    _, capture = drawn(question, chosen, 7)
    alone = simulate(bowing, ["r_hand", "r_forearm"], question.settings, 7).capture
    assert list(capture.units) == list(alone.units)
    for name, unit in alone.units.items():
        for read in ("time", *SIX):
            np.testing.assert_array_equal(getattr(capture.units[name], read), getattr(unit, read))
        assert capture.units[name].magnetometer is None


def test_stated_mountings_are_off_by_what_was_asked(bowing):
    from bodyfit.study.planning.trial import drawn

    question = asked(bowing, mounting_sd=math.radians(3.0), segments=("r_hand",))
    off = []
    for seed in range(40):
        made, capture = drawn(question, worn("r_hand"), seed)
        stated = capture.units["r_hand_unit"].mounting
        assert stated is not None
        off.append((Rotation.from_quat(stated) * made.units["r_hand_unit"].mounting.inv()).as_rotvec())
    assert np.degrees(np.std(off)) == pytest.approx(3.0, rel=0.2)
