"""Writes choosing_sensors.md: which sensors do, measured on real recordings and on the demo captures.

    python docs/make_choosing.py

Reads the recordings in ../shared/data, beside the checkout. Takes about ten minutes on two cores.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import few_units as few
import numpy as np
import recordings as real
from choosing import ALL_SETS, CHAINS, DEMOS, JOBS, LEFT_OUT, ONE_UNIT_SETS, compared, drifts, knee, result
from tables import number, table

from bodyfit import __version__
from bodyfit.recording.capture import SHORT
from bodyfit.study.accuracy.scores import ONE_WAY, Score
from bodyfit.study.comparison.result import CLOSE_DEG, CaseResult

HERE = Path(__file__).resolve().parent
ALL = ALL_SETS[-1]
ACC_MAG, GYRO_MAG, ACC_GYRO = ALL_SETS[3:6]
DRIFT_DEG = 1.0  # from which on a drift is large enough to have a kind
SEVERAL = 2.0  # times as wrong when shaken as when quiet
NONE = "–"


def short(sensors: Sequence[str]) -> str:
    """A set in few letters."""
    return "acc + gyro + mag (nine axes)" if tuple(sensors) == ALL else " + ".join(SHORT[s] for s in sensors)


def figure(value: float | None) -> str:
    """Two decimals below ten degrees, none above."""
    return NONE if value is None else number(value) if value < 10 else f"{value:.0f}"


def parts(score: Score | None) -> str:
    """Error, and its heading and inclination."""
    if score is None:
        return "refused"
    return f"**{figure(score.rmse_deg)}** ({figure(score.heading_deg)} / {figure(score.inclination_deg)})"


def sets(names: Sequence[str]) -> str:
    """Every set of sensors, with the body and without."""
    headings = ["sensors"]
    headings += [f"`{name}`, {words}" for name in names for words in ("with the body", "each unit alone")]
    rows = []
    for sensors in ALL_SETS:
        cases = [result(name, sensors, body) for name in names for body in (True, False)]
        rows.append([short(sensors), *(parts(case.overall) for case in cases)])
    return table(headings, rows)


def knees() -> str:
    """Angles of the real knee."""
    rows = []
    for sensors in ALL_SETS:
        found = [knee(sensors, body) for body in (True, False)]
        rows.append([short(sensors), *(_three(angles) for angles in found)])
    return table(["sensors", "with the body", "each unit alone"], rows)


def _three(angles: Sequence[float] | None) -> str:
    return "refused" if angles is None else " / ".join(figure(angle) for angle in angles)


def singles() -> str:
    """One unit by itself."""
    found, rows = drifts(), []
    for name in real.names("single_"):
        words = name.removeprefix("single_")[3:].replace("_", " ")
        scores = [found[name, sensors].result.overall for sensors in ONE_UNIT_SETS]
        rows.append([words, *("refused" if s is None else _two(s) for s in scores)])
    return table(["recording", *(short(sensors) for sensors in ONE_UNIT_SETS)], rows)


def _two(score: Score) -> str:
    return f"{figure(score.heading_deg)} / {figure(score.inclination_deg)}"


def single_drifts() -> str:
    """What changes over a recording of one unit."""
    found, rows = drifts(), []
    for name in real.names("single_"):
        words = name.removeprefix("single_")[3:].replace("_", " ")
        two, mag = found[name, ACC_GYRO], found[name, GYRO_MAG]
        rows.append([words, *map(figure, (two.heading, two.inclination, mag.about_field, mag.across_field))])
    headings = ["recording", "acc + gyro: heading", "inclination", "gyro + mag: about the field", "across it"]
    return table(headings, rows)


def mountings() -> str:
    """What is left when a wrong mounting is counted out."""
    headings = ["sensors"]
    headings += [f"`{name}`, {words}" for name in DEMOS for words in ("with the body", "each unit alone")]
    rows = []
    for sensors in (s for s in ALL_SETS if len(s) > 1):
        scores = [_score(result(name, sensors, body)) for name in DEMOS for body in (True, False)]
        cells = (f"{figure(s.rmse_deg)} → {figure(s.ends_removed_deg)}" for s in scores)
        rows.append([short(sensors), *cells])
    return table(headings, rows)


def left_out(name: str) -> str:
    """Units left out of one recording, every sensor, with the body."""
    rows = [["none", parts(result(name, ALL, True).overall), NONE, NONE, NONE]]
    for units in LEFT_OUT[name]:
        case = result(name, ALL, True, tuple(sorted(units)))
        inferred = [f"{n} {figure(s.rmse_deg)}" for n, s in case.inferred.items()]
        bands = [
            NONE if s.band_share is None else f"{100 * s.band_share:.0f} %" for s in case.inferred.values()
        ]
        across = [f"{n} {figure(s.rmse_deg)}" for n, s in case.across.items()]
        cells = (", ".join(cell) or NONE for cell in (inferred, bands, across))
        rows.append([", ".join(units), parts(case.overall), *cells])
    return table(
        ["left out", "joints", "segments without a unit", "in their 95 % bands", "across the gap"], rows
    )


def no_help() -> str:
    """Where the body model gains less than a degree, or makes things worse."""
    rows = []
    for name, sensors in ((name, sensors) for name in (*CHAINS, *DEMOS) for sensors in ALL_SETS):
        cases = [result(name, sensors, with_body) for with_body in (True, False)]
        if any(case.overall is None for case in cases):
            continue
        body, alone = (_counted(name, case) for case in cases)
        if body > alone - CLOSE_DEG:
            what = "harm" if body > alone + CLOSE_DEG else "no gain"
            rows.append([f"`{name}`", short(sensors), figure(body), figure(alone), what])
    return table(["", "sensors", "with the body", "each unit alone", "by more than 1°"], rows)


# ---- whole bodies with few units ----

WORN = {  # case of few_units -> in words
    "six": "six: pelvis, head, forearms, shanks",
    "ten": "ten: not head, hands, feet",
    "ten_head": "ten: not trunk, hands, feet",
    "ten_feet": "ten: not head, upper arms, hands",
    "ten_ends": "ten: not trunk, hands, thighs",
    "ten_hands": "ten: not head, forearms, feet",
    "calf": "a leg: pelvis, thigh, foot",
    "leg": "a leg: pelvis, foot",
    "arm": "an arm: trunk, hand",
}


@cache
def few_units_scores() -> dict[tuple[str, bool], list[few.Score]]:
    """Case, and whether usual postures count -> a score a motion."""
    cases = [(case, usual) for case in WORN for usual in (True, False)]
    jobs = [(*case, motion) for case in cases for motion in few.MOTIONS]
    with ProcessPoolExecutor(JOBS, multiprocessing.get_context("spawn")) as pool:
        scores = list(pool.map(_few, jobs))
    n = len(few.MOTIONS)
    return {case: scores[n * i : n * (i + 1)] for i, case in enumerate(cases)}


def _few(job: tuple[str, bool, str]) -> few.Score:
    case, usual, motion = job
    return few.run(few.CASES[case], motion, usual_postures=usual)


def few_units_table() -> str:
    """Whole bodies with few units, with usual postures and without."""
    rows = []
    for case, words in WORN.items():
        on, off = (few_units_scores()[case, usual] for usual in (True, False))
        bare = np.mean([s.turn_deg(worn=False) for s in on])
        cells = [f"**{_mean_deg(on)}**", figure(float(bare)), _mean_cm(on), _bands(on)]
        rows.append([words, *cells, _mean_deg(off), _mean_cm(off), _bands(off)])
    plain = ("all segments", "those without a unit", "joint centres, cm", "angles in their 95 % bands")
    return table(["worn", *plain, "without usual postures: all", "cm", "in bands"], rows)


def _mean_deg(scores: Sequence[few.Score]) -> str:
    return f"{np.mean([s.turn_deg() for s in scores]):.1f}"


def _tens() -> str:
    """Least and most of the sets of ten."""
    found = [_mean_deg(few_units_scores()[case, True]) for case in WORN if case.startswith("ten")]
    return f"{min(found, key=float)} to {max(found, key=float)}°"


def _mean_cm(scores: Sequence[few.Score]) -> str:
    return f"{np.mean([s.place_cm() for s in scores]):.1f}"


def _bands(scores: Sequence[few.Score]) -> str:
    return f"{100 * np.mean([s.angles.share for s in scores]):.0f} %"


# ---- the expected pattern ----


def pattern() -> str:
    """What was expected, what was measured, and whether it holds."""
    names = (*CHAINS, *DEMOS)
    alone = {name: {s: result(name, s, False) for s in ALL_SETS} for name in names}
    rows = [_heading_only(f"`{name}`", _score(alone[name][ACC_GYRO])) for name in names]
    rows.append(_by_drift("alone, acc + gyro: heading only", ACC_GYRO, "heading", "inclination"))
    rows += [_field_only(f"`{name}`", _score(alone[name][GYRO_MAG])) for name in names]
    rows.append(_by_drift("alone, gyro + mag: about the field only", GYRO_MAG, "about_field", "across_field"))
    rows += [_shaken(f"`{name}`", _score(alone[name][ACC_MAG])) for name in names]
    rows += [_as_nine(name) for name in names]
    return table(["expected", "recording", "measured, degrees", "holds"], rows)


def _score(case: CaseResult) -> Score:
    assert case.overall is not None, case.refused
    return case.overall


def _counted(name: str, case: CaseResult) -> float:
    """Error of all joints, degrees, without what all sensors have alike: how the wearer of a demo stood."""
    score = _score(case)
    return score.ends_removed_deg if name in DEMOS else score.rmse_deg


def _heading_only(name: str, score: Score) -> Sequence[str]:
    told = f"heading {figure(score.heading_deg)}, inclination {figure(score.inclination_deg)}"
    return ["alone, acc + gyro: heading only", name, told, _mostly(score.heading_deg, score.inclination_deg)]


def _field_only(name: str, score: Score) -> Sequence[str]:
    about, across = score.about_field_deg, score.across_field_deg
    told = f"about the field {figure(about)}, across it {figure(across)}"
    return ["alone, gyro + mag: about the field only", name, told, _mostly(about, across)]


def _by_drift(expected: str, sensors: Sequence[str], part: str, rest: str) -> Sequence[str]:
    """Of the recordings of one unit, those that drift enough for it to have a kind."""
    some = [d for (_, used), d in drifts().items() if used == sensors and d.all >= DRIFT_DEG]
    holds = [_mostly(getattr(d, part), getattr(d, rest)) == "yes" for d in some]
    words = f"one unit, drift of {DRIFT_DEG:g}° or more"
    return [expected, words, f"in {sum(holds)} of {len(holds)} recordings", _yes(all(holds))]


def _mostly(part: float | None, rest: float | None) -> str:
    """Whether four fifths of the mean square lie in one part."""
    if part is None or rest is None:
        return NONE
    return _yes(part**2 >= ONE_WAY * (part**2 + rest**2))


def _shaken(name: str, score: Score) -> Sequence[str]:
    quiet, shaken = score.quiet_deg or 0.0, score.shaken_deg or 0.0
    told = f"when quietest {figure(quiet)}, when most shaken {figure(shaken)}"
    holds = quiet <= 5.0 and shaken >= SEVERAL * quiet
    return ["alone, acc + mag: right at rest, wrong when shaken", name, told, _yes(holds)]


def _as_nine(name: str) -> Sequence[str]:
    two = _counted(name, result(name, ACC_GYRO, True))
    nine = [_counted(name, result(name, ALL, body)) for body in (True, False)]
    told = f"{figure(two)}; nine axes {figure(nine[0])}, alone {figure(nine[1])}"
    return ["with the body, acc + gyro: as nine axes", f"`{name}`", told, _yes(two <= min(nine) + CLOSE_DEG)]


def _yes(holds: bool) -> str:
    return "yes" if holds else "no"


def short_rows() -> str:
    """The table at the top."""
    rows = []
    for name in (*CHAINS, *DEMOS):
        cases = [(ACC_GYRO, False), (ALL, False), (ACC_GYRO, True), (ALL, True)]
        rows.append([f"`{name}`", *(figure(_counted(name, result(name, *case))) for case in cases)])
    headings = ["", "acc + gyro, alone", "nine axes, alone", "acc + gyro, body", "nine axes, body"]
    return table(headings, rows)


def page() -> str:
    """The whole page."""
    text = (HERE / "choosing_sensors.template.md").read_text()
    offsets = [1000 * case.clock_offset_s for name in CHAINS for case in compared(name) if case.overall]
    found = {
        "VERSION": __version__,
        "SHORT": short_rows(),
        "PATTERN": pattern(),
        "CHAINS": sets(CHAINS),
        "CLOCKS": f"{min(offsets):.1f} to {max(offsets):.1f} ms",
        "DEMOS": sets(DEMOS),
        "KNEE": knees(),
        "SINGLES": singles(),
        "DRIFTS": single_drifts(),
        "MOUNTINGS": mountings(),
        "NO_HELP": no_help(),
        "LEFT_OUT_CELLO": left_out("cello_arm"),
        "LEFT_OUT_CHAIN": left_out("chain_rigid"),
        "FEW_UNITS": few_units_table(),
        "SIX": _mean_deg(few_units_scores()["six", True]),
        "TENS": _tens(),
    }
    for name, value in found.items():
        text = text.replace("{{" + name + "}}", value)
    return text


if __name__ == "__main__":
    if not real.DATA.is_dir():
        sys.exit(f"no recordings at {real.DATA}; docs/choosing_sensors.md stays as it is")
    (HERE / "choosing_sensors.md").write_text(page())
    print(f"written {HERE / 'choosing_sensors.md'}")
