"""`bodyfit plan`: a motion and tolerances in; the smallest set of worn units that is enough out."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from .terminal.given import JOBS, MODEL, NO_USUAL_POSTURES, OUT, SCHEDULER, FiniteRange, GivenPath, words_of

if TYPE_CHECKING:
    from ..simulation.settings import SimulationSettings
    from ..study.planning.question import Question

FIELDS = {"clean": 0.0, "indoor": 3e-6, "bad": 15e-6}  # T, root mean square about the path (from memory)


@click.command()
@click.argument("motion", type=GivenPath())
@OUT
@click.option(
    "--tolerance",
    metavar="WHERE=DEG",
    multiple=True,
    required=True,
    help="Most that an angle may err, in degrees: 5 for all, r_elbow=5, r_elbow.flexion=3; repeatable.",
)
@MODEL
@click.option("--grade", default="consumer", show_default=True, help="Of the units: a name or a TOML file.")
@click.option(
    "--probability",
    default=0.9,
    show_default=True,
    type=FiniteRange(0, 1),
    help="With which all tolerances are met.",
)
@click.option(
    "--mounting-sd",
    metavar="DEG",
    default=1.5,
    show_default=True,
    type=FiniteRange(0, 30),
    help="How well it is known how each unit sits, about each axis.",
)
@click.option(
    "--soft-tissue",
    metavar="DEG",
    default=3.0,
    show_default=True,
    type=FiniteRange(0, 30),
    help="Turn of a unit against the bone per g.",
)
@click.option(
    "--field", type=click.Choice(list(FIELDS)), default="indoor", show_default=True, help="Magnetic field."
)
@click.option("--segments", metavar="NAME,NAME", help="Segments that may carry a unit.  [all]")
@click.option(
    "--kinds",
    metavar="WORD,WORD",
    default="acc+gyro,acc+gyro+mag",
    show_default=True,
    help="Sensors that a unit may carry.",
)
@click.option(
    "--between",
    type=(FiniteRange(), FiniteRange()),
    metavar="START END",
    help="Part to use, s.  [middle 15 s]",
)
@click.option("--stature", type=FiniteRange(0.4, 2.8), metavar="M", help="Of the person, in metres.")
@click.option(
    "--seeds", default=60, show_default=True, type=click.IntRange(12, 100_000), help="Recordings at most."
)
@click.option("--seed", default=0, show_default=True, type=click.IntRange(0), help="Same seed, same answer.")
@NO_USUAL_POSTURES
@JOBS
@SCHEDULER
def plan(
    motion: Path,
    out: Path,
    tolerance: tuple[str, ...],
    model: str | None,
    grade: str,
    probability: float,
    mounting_sd: float,
    soft_tissue: float,
    field: str,
    segments: str | None,
    kinds: str,
    between: tuple[float, float] | None,
    stature: float | None,
    seeds: int,
    seed: int,
    no_usual_postures: bool,
    jobs: int | None,
    scheduler: str | None,
) -> None:
    """Find the smallest set of units to wear for MOTION, before anything is bought or strapped on.

    MOTION is a table of segment rotations and positions (segments.csv, .csv.gz, .parquet), a folder that
    holds one, a demo capture, or a TOML file that scripts joint angles (docs/planning.md). OUT gets plan.csv,
    plan.json, plan.html and, in jobs, a file for each finished piece of work: a run that was interrupted goes
    on from there. Exit code 2: the call or a file is wrong. That no set is enough is an answer and no error.
    """
    from .progress_bar import Progress

    with Progress() as progress:
        progress(0, 0, "loading")
        from ..body.person import Person
        from ..files.motion.motion_file import motion_body, motion_file, read_motion
        from ..files.plain.atomic_file import check_folder
        from ..study.comparison.cases import sensors_of
        from ..study.planning.files import read_job, write_job, write_plan
        from ..study.planning.plan import plan as planned
        from ..study.planning.question import NINE, Question, stretch, tolerances
        from .terminal.plan import print_plan

        check_folder(out)
        path = motion_file(motion)
        name, tree, person = motion_body(path, model, Person(stature) if stature else None)
        tree = tree.without_usual_postures() if no_usual_postures else tree
        part = stretch(read_motion(path, tree, person), *(between or (None, None)))
        question = Question(
            part,
            tolerances(tolerance, part),
            _settings(grade, soft_tissue, field),
            math.radians(mounting_sd),
            probability,
            tuple(dict.fromkeys(sensors_of(word, NINE) for word in kinds.split(","))),
            tuple(words_of(segments)) if segments else (),
            seeds,
            seed,
        )
        result = planned(
            question,
            jobs or os.cpu_count() or 1,
            scheduler=scheduler,
            kept=(lambda key: read_job(out, key), lambda key, found: write_job(out, key, found)),
            progress=progress,
            about=_about(question, path, grade, name, field, tolerance),
        )
        paths = write_plan(result, out)
    print_plan(result, paths)


def _settings(grade: str, soft_tissue: float, field: str) -> SimulationSettings:
    """How good the units are, with the tissue under them and the field around them."""
    from dataclasses import replace

    from ..simulation.grades import read_grade

    return replace(
        read_grade(grade),
        soft_tissue_deg_per_g=soft_tissue,
        soft_tissue_mm_per_g=5 / 3 * soft_tissue,
        magnetic_distortion=FIELDS[field],
    )


def _about(
    question: Question, path: Path, grade: str, model: str, field: str, tolerance: tuple[str, ...]
) -> dict[str, str]:
    """What was assumed, in words."""
    settings, length = question.settings, question.motion.time[-1] - question.motion.time[0]
    tissue = settings.soft_tissue_deg_per_g, settings.soft_tissue_mm_per_g
    return {
        "motion": f"{path}, {length:.1f} s of it",
        "body": f"{model}, joint centres as in the motion",
        "tolerance": ", ".join(f"{w}°" for w in tolerance) + f", all met in {100 * question.probability:g} %",
        "units": f"{grade} grade, {settings.sampling_frequency:g} Hz",
        "mounting": f"stated, off by {math.degrees(question.mounting_sd):g}° about each axis",
        "soft tissue": f"{tissue[0]:g}° and {tissue[1]:.3g} mm per g",
        "field": f"{field}, {1e6 * settings.magnetic_distortion:g} µT of distortion",
        "seed": str(question.seed),
    } | ({} if question.motion.model.usual_postures else {"usual postures": "not believed"})
