"""Recordings solved with every set of sensors and judged by their references, for choosing_sensors.md."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import recordings as real
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.errors import BodyfitError
from bodyfit.files.motion.pose_tables import read_segments
from bodyfit.recording.capture import Capture
from bodyfit.study.accuracy.reference import Reference, pair_of
from bodyfit.study.accuracy.rotation_error import LAGS_S, picked, rms, split_about
from bodyfit.study.accuracy.scores import UP
from bodyfit.study.comparison.cases import SETS, Case
from bodyfit.study.comparison.compare import compare
from bodyfit.study.comparison.result import CaseResult
from bodyfit.study.comparison.run_case import run_case, solved, told

DEMO_FOLDER = Path(__file__).resolve().parents[1] / "demo_captures"
CHAINS = ("chain_rigid", "chain_soft")
DEMOS = ("cello_arm", "steel_stairs", "parcel_lift")
JOBS = min(2, os.cpu_count() or 1)
ALL_SETS = tuple(sensors for sensors in SETS if "orientation" not in sensors)
ONE_UNIT_SETS = tuple(s for s in ALL_SETS if len(s) > 1 or s == ("gyroscope",))
LEFT_OUT = {  # recording -> units left out together
    "chain_rigid": (("unit_3",), ("unit_2", "unit_4")),
    "cello_arm": (("breastbone",), ("upper_arm",), ("forearm",), ("hand",)),
}


@cache
def compared(name: str) -> tuple[CaseResult, ...]:
    """Every set of sensors of one recording, with the body and without, then units left out."""
    capture = demo(name) if name in DEMOS else real.capture(name)
    found = compare(capture, _reference(name), None, LEFT_OUT.get(name, ()), align_clock=True, jobs=JOBS)
    return found.results


def result(name: str, sensors: Sequence[str], body: bool, without: Sequence[str] = ()) -> CaseResult:
    """What came of one case."""
    wanted = Case(tuple(sensors), body, tuple(without))
    return next(one for one in compared(name) if one.case == wanted)


def demo(name: str) -> Capture:
    """One demo capture."""
    return bodyfit.read_capture(DEMO_FOLDER / name)


def _reference(name: str) -> Reference:
    """The truth, world +Y up."""
    if name in DEMOS:
        table = read_segments(DEMO_FOLDER / name / "truth" / "segments.csv.gz")
        return Reference(table.time, table.rotations)
    if name.startswith("single_"):
        return _single(pd.read_parquet(real.DATA / name / "reference.parquet"))
    table = pd.read_csv(real.DATA / name / "reference.csv")
    return _of_tracks(table, list(real.capture(name).model.segments))


def _single(table: pd.DataFrame) -> Reference:
    """Of one unit, in the rows that move."""
    moving = table.moving.to_numpy(bool)
    reference = _of_tracks(table, ["segment"])
    seen = {"segment": reference.seen["segment"] & moving}
    return Reference(reference.time, reference.rotations, seen)


def _of_tracks(table: pd.DataFrame, segments: Sequence[str]) -> Reference:
    """Segments of a table whose world is Z up; rows without a value are not seen."""
    rotations, seen = {}, {}
    for name in segments:
        q = table[[f"{name}_q{axis}" for axis in "xyzw"]].to_numpy(float)
        seen[name] = np.isfinite(q).all(1)
        whole = np.where(seen[name][:, None], q, [0.0, 0.0, 0.0, 1.0])
        rotations[name] = real.Z_UP_TO_Y_UP * Rotation.from_quat(whole)
    time = table.time_s.to_numpy(float)
    later = np.diff(time, prepend=-np.inf) > 0
    kept = {name: picked(turn, later) for name, turn in rotations.items()}
    return Reference(time[later], kept, {name: rows[later] for name, rows in seen.items()})


@cache
def knee(sensors: tuple[str, ...], body: bool) -> tuple[float, ...] | None:
    """Errors of the real knee's flexion, adduction, rotation, degrees; None: refused.

    The reference has angles alone, so a constant offset of each and one of the clock, at which flexion
    agrees best, are taken off.
    """
    try:
        fit = real.fitted("knee_landing", sensors=frozenset(sensors), alone=not body)
    except BodyfitError:
        return None
    lag = min(LAGS_S, key=lambda lag: _knee_error(fit, lag, "flexion"))
    return tuple(_knee_error(fit, lag, angle) for angle in real.KNEE)


def _knee_error(fit: bodyfit.Fit, lag: float, angle: str) -> float:
    """Root mean square, degrees, its circular mean taken off."""
    table = pd.read_csv(real.DATA / "knee_landing" / "reference_knee.csv")
    column, sign = real.KNEE[angle]
    true = np.interp(fit.time + lag, table.time_s, sign * table[column], left=np.nan, right=np.nan)
    error = fit.joint_angles["l_knee"][angle] - np.radians(true)
    turns = np.exp(1j * error[np.isfinite(error)])
    return float(np.degrees(rms(np.angle(turns / np.mean(turns)))))


# ---- one unit by itself ----


@dataclass(frozen=True)
class Drift:
    """How one unit's error changes over a recording: what is left without its mean rotation, degrees.

    Attributes
    ----------
    result : as from `bodyfit.study.comparison.run_case.run_case`, a constant heading taken off
    all, heading, inclination : root mean square of what is left, and its parts
    about_field, across_field : its parts about the direction of the magnetic field, and of the rest
    """

    result: CaseResult
    all: float
    heading: float
    inclination: float
    about_field: float
    across_field: float


@cache
def drifts() -> dict[tuple[str, tuple[str, ...]], Drift]:
    """Recording and sensors -> drift, of every recording of one unit."""
    fresh = multiprocessing.get_context("spawn")
    names = real.names("single_")
    with ProcessPoolExecutor(JOBS, fresh) as pool:
        found = list(pool.map(_drifts, names))
    return {
        (name, sensors): drift for name, some in zip(names, found, strict=True) for sensors, drift in some
    }


def _drifts(name: str) -> list[tuple[tuple[str, ...], Drift]]:
    """Of one recording."""
    capture = real.capture(name)
    reference = told(capture, _reference(name))
    return [(sensors, _drift(capture, reference, sensors)) for sensors in ONE_UNIT_SETS]


def _drift(capture: Capture, reference: Reference, sensors: tuple[str, ...]) -> Drift:
    case = Case(sensors, False)
    result = run_case(capture, case, reference, True)
    pair = pair_of(solved(capture, case), reference, None, "segment")
    found, true = pair.matched(result.clock_offset_s)
    turn = found * true.inv()
    left = (turn.mean().inv() * turn).as_rotvec()
    assert reference.magnetic is not None
    parts = [np.linalg.norm(left, axis=1), *split_about(left, UP), *split_about(left, reference.magnetic)]
    figures = [float(np.degrees(rms(part))) for part in parts]
    return Drift(result, *figures)
