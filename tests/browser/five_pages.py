"""Each kind of page that bodyfit writes, of invented results, for the tests that open them."""

from __future__ import annotations

import dataclasses
from math import radians
from pathlib import Path

import numpy as np
from example_inspection import example
from example_out import walk, write_out

from bodyfit.body.person import Person
from bodyfit.files.capture.folder import read_capture
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.study.accuracy.scores import Score
from bodyfit.study.batch.page import page_of
from bodyfit.study.batch.result import Row
from bodyfit.study.comparison.cases import Case
from bodyfit.study.comparison.compare import Comparison
from bodyfit.study.comparison.moving_figure import moving_figure, parts_of
from bodyfit.study.comparison.result import CaseResult
from bodyfit.study.inspection.page import write_inspection_page
from bodyfit.study.planning.question import Question
from bodyfit.study.planning.search import search
from bodyfit.study.report.page import write_report

STAIRS = Path(__file__).resolve().parents[2] / "demo_captures" / "steel_stairs"
SCORE = Score(1.5, 1.0, 3.0, 0.7, 1.0, 1.1, 1.1, 1.0, 1.0, 2.0, 1.0, 2.0, 45.0, 1.4, 0.5, 0.95)
SIX = ("accelerometer", "gyroscope")
KINDS = ("report", "inspection", "comparison", "plan", "batch")


def write_pages(out: Path) -> dict[str, str]:
    """Addresses of a report, an inspection, a comparison, a plan and a batch."""
    plan().write(out)
    comparison().write(out)
    write_report(write_out(out / "fit"), out / "report.html")
    units = read_capture(STAIRS).between(40.0, 44.0).units
    write_inspection_page(example({name: units[name] for name in list(units)[:4]}), out / "inspection.html")
    (out / "batch.html").write_text(page_of(rows(), 7), encoding="utf-8")
    return {name: (out / f"{name}.html").as_uri() for name in KINDS}


def plan():
    """For seven segments, its errors invented."""
    motion = read_motion(STAIRS, read_model("lower_body")).between(5.0, 9.0)
    question = Question(motion, {("l_knee", "flexion"): radians(5), ("r_knee", "flexion"): radians(3)})

    def work(jobs):
        errors = [{f"{j}.{a}": 0.4 / job.worn.units**2 for j, a in question.tolerance} for job in jobs]
        slips = {"slips": 0.0}
        return [[e | slips] * job.count or [e] for job, e in zip(jobs, errors, strict=True)]

    return search(question, work, about={"motion": "steel_stairs, 4.0 s of it", "seed": "0"})


def comparison() -> Comparison:
    """Of a walk: six axes with the body and alone, and with one unit left out."""
    poses = walk(seconds=10.0, rate=10.0)
    body = read_model("lower_body").scaled(Person(stature_m=1.75))
    figure = moving_figure(poses.time - poses.time[0], poses.rotations, body)
    time = np.linspace(0, 10, 50)
    curve = {"time_s": time.tolist(), "all": [1.5 + float(np.sin(t)) for t in time]}
    joints = {name: SCORE for name in ("l_hip", "l_knee", "l_talocrural", "r_hip", "r_knee")}
    cases = [Case(SIX), Case(SIX, False), Case(SIX, True, ("l_calf_unit",))]
    results = [CaseResult(c, joints, SCORE, {}, {"l_calf": SCORE}, curve, {}, figure) for c in cases]
    return Comparison("A walk", "the truth", True, tuple(results), parts_of(body), figure)


def rows() -> list[Row]:
    """Six captures, one of which failed."""
    ranges = {
        "l_knee": {"flexion": (0.0, 60.0), "adduction": (-3.0, 4.0)},
        "r_knee": {"flexion": (1.0, 61.0)},
    }
    told = {"serious": 0, "warning": 2, "note": 5}
    plain = Row("", "", "done", "", "k", 4.0, "A walk", "lower_body", told, 7, True, ranges)
    done = [dataclasses.replace(plain, name=f"walk_{k}", capture=f"captures/walk_{k}") for k in range(5)]
    return [*done, Row("lost", "captures/lost", "failed", "no table 'left.csv' in captures/lost")]
