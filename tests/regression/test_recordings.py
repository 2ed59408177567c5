"""Our own figures on real recordings with an outside reference, so that they do not get worse unnoticed.

References are optical (chain, knee, single unit); who recorded them is written beside the recordings. Bounds
lie above what was measured when they were set; docs/validation.md holds the figures themselves.
"""
# pyright: reportArgumentType=false

from __future__ import annotations

import dataclasses
import sys
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from cut_knee import flexion, in_pieces
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation, Slerp
from told import warned

import bodyfit
from bodyfit.body.motion.chain_from_motion import person_from_legs
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.calibration.clocks.unit_clocks import neighbours, on_one_clock, unit_clocks
from bodyfit.calibration.sampling_findings import sampling_findings
from bodyfit.files.model.model_file import read_model
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.recording.capture import Unit
from bodyfit.recording.sampling import sampling_of
from bodyfit.recording.single_units import unaided
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

INERTIAL = frozenset({"accelerometer", "gyroscope"})
SINGLE = ("01", "06", "10", "16", "24", "28", "33")


@cache
def fitted(folder: Path, sensors: frozenset[str] | None = INERTIAL, alone: bool = False) -> bodyfit.Fit:
    return bodyfit.fit(bodyfit.read_capture(folder), sensors=sensors, alone=alone)


def rms_deg(R: Rotation) -> float:
    return float(np.degrees(np.sqrt(np.mean(R.magnitude() ** 2))))


def quaternions(table: pd.DataFrame, segment: str) -> np.ndarray:
    return table[[f"{segment}_q{axis}" for axis in "xyzw"]].to_numpy(float)


def neighbours_of_chain(folder: Path, found: bodyfit.Fit, late: float) -> list[tuple[Rotation, Rotation]]:
    """Found and true rotation of each segment against the one before, the reference late by `late` s."""
    table, out = pd.read_csv(folder / "reference.csv"), []
    for s in range(1, 5):
        parent, child = f"segment_{s}", f"segment_{s + 1}"
        q = quaternions(table, parent), quaternions(table, child)
        ok = np.isfinite(q[0]).all(1) & np.isfinite(q[1]).all(1)
        stamps = table.time_s.to_numpy()[ok]
        true = Slerp(stamps, Rotation.from_quat(q[0][ok]).inv() * Rotation.from_quat(q[1][ok]))
        at = found.time + late
        after = np.clip(np.searchsorted(stamps, at), 1, len(stamps) - 1)
        near = (at > stamps[0]) & (at < stamps[-1]) & (stamps[after] - stamps[after - 1] < 0.1)
        mine = found.rotations[parent].inv() * found.rotations[child]
        out.append((mine[near], true(at[near])))
    return out


def mean_error(pairs: list[tuple[Rotation, Rotation]]) -> float:
    return float(np.mean([rms_deg(true.inv() * found) for found, true in pairs]))


def mountings_removed(found: Rotation, true: Rotation) -> float:
    """Error with one constant rotation at either end taken off, degrees."""

    def off(p: np.ndarray) -> np.ndarray:
        bent = Rotation.from_rotvec(p[:3]) * true * Rotation.from_rotvec(p[3:])
        return (bent.inv() * found).as_rotvec().ravel()

    return float(np.degrees(np.sqrt(3 * np.mean(np.square(off(least_squares(off, np.zeros(6)).x))))))


def test_rigid_chain(recordings):
    folder = recordings / "chain_rigid"
    found = fitted(folder)
    assert mean_error(neighbours_of_chain(folder, found, 0.0)) <= 2.4
    assert mean_error(neighbours_of_chain(folder, found, 0.015)) <= 0.65


def test_soft_chain(recordings):
    folder = recordings / "chain_soft"
    pairs = neighbours_of_chain(folder, fitted(folder), 0.015)
    assert np.mean([mountings_removed(*pair) for pair in pairs]) <= 1.4


def test_soft_chain_with_stated_mountings_that_the_motion_refines(recordings):
    """Units sit 6 to 12° off the mounting that is stated; without refinement the pairs were 7.1° off."""
    folder = recordings / "chain_soft"
    assert mean_error(neighbours_of_chain(folder, fitted(folder), 0.015)) <= 5.0


def test_soft_chain_mountings_from_arbitrary_motion(recordings):
    """Nothing stated: what two hinge axes determine, and what they leave open."""
    sys.path.append(str(Path(__file__).parents[2] / "docs"))
    from mounting_reference import reference_mounting

    capture = bodyfit.read_capture(recordings / "chain_soft")
    units = {n: dataclasses.replace(u, mounting=None) for n, u in capture.units.items()}
    found = bodyfit.fit(dataclasses.replace(capture, units=units), sensors=INERTIAL)
    true = reference_mounting("chain_soft")
    for unit in ("unit_3", "unit_4"):
        off = true[unit] * Rotation.from_matrix(found.mounting[unit][0]).inv()
        assert np.degrees(off.magnitude()) < 3.0
        assert found.summary.units[unit].mounting_open == ()
    for unit in ("unit_1", "unit_2", "unit_5"):
        assert found.summary.units[unit].mounting_open
        off = (true[unit] * Rotation.from_matrix(found.mounting[unit][0]).inv()).as_rotvec()
        assert off @ np.linalg.solve(found.mounting[unit][1], off) < 11.3  # χ², 3 d.o.f., 99 %


@pytest.mark.parametrize(("name", "most"), [("chain_rigid", 15.9), ("chain_soft", 13.4)])
def test_units_alone_are_no_worse_than_a_published_filter(recordings, name, most):
    """Baselines: the six-axis offline filter of Laidig & Seel 2023 on the same rows."""
    folder = recordings / name
    assert mean_error(neighbours_of_chain(folder, fitted(folder, alone=True), 0.0)) <= most


@pytest.mark.parametrize(("name", "most"), [("chain_rigid", 25.2), ("chain_soft", 31.0)])
def test_nine_axes_alone_are_no_worse_than_a_published_filter(recordings, name, most):
    folder = recordings / name
    assert mean_error(neighbours_of_chain(folder, fitted(folder, None, alone=True), 0.0)) <= most


def test_knee_flexion_with_mounting_unknown(recordings):
    """Left leg, drop landings; `flexion_axis_deg` of the reference is negative in flexion."""
    found = fitted(recordings / "knee_landing")
    table = pd.read_csv(recordings / "knee_landing" / "reference_knee.csv")
    true = -np.interp(found.time, table.time_s, table.flexion_axis_deg)
    off = np.degrees(found.joint_angles["l_knee"]["flexion"]) - true
    assert np.nanstd(off) <= 2.1


def test_knee_in_pieces_with_units_turned_anyhow(recordings):
    folder = recordings / "knee_landing"
    capture = in_pieces(folder, seed=0)
    mine, true, _ = flexion(folder, bodyfit.fit(capture, sensors=INERTIAL), capture)
    assert np.std(mine - true) <= 2.5


def test_a_knee_that_might_bend_either_way_says_so(recordings):
    """Without a range in the model both senses are alike: the band reaches from one to the other."""
    folder = recordings / "knee_landing"
    capture = in_pieces(folder, seed=4, bends_one_way=False)
    found = bodyfit.fit(capture, sensors=INERTIAL)
    mine, true, sd = flexion(folder, found, capture)
    off = mine - true - np.mean((mine - true)[:100])  # the cameras' zero is another: taken from the pose
    assert np.mean(np.abs(off) <= 1.96 * sd) >= 0.95
    assert np.mean(np.abs(2 * (mine - np.mean(mine[:100]))) <= 1.96 * sd) >= 0.95
    said = [f for f in found.findings if "cannot tell which way" in f.what]
    assert {u for f in said for u in f.units} == {"thigh_unit", "calf_unit"}
    assert found.summary.solver.other_start_cost == pytest.approx(found.summary.solver.cost, rel=0.05)


def single_errors(folder: Path) -> tuple[float, float]:
    """Total error with a constant heading offset off, and inclination error, in degrees, where it moved."""
    table = pd.read_parquet(folder / "reference.parquet")
    q = quaternions(table, "segment")
    moving = table.moving.to_numpy() & np.isfinite(q).all(1)
    to_y_up = Rotation.from_rotvec([-np.pi / 2, 0, 0])  # the reference has east, north, up
    true = to_y_up * Rotation.from_quat(q[moving])
    off = fitted(folder, None).rotations["segment"][moving] * true.inv()
    x, y, z, w = off.as_quat().T
    heading = np.angle(np.exp(2j * np.arctan2(y, w)).mean())
    inclination = 2 * np.arcsin(np.clip(np.hypot(x, z), 0, 1))
    level = Rotation.from_rotvec([0, -heading, 0]) * off
    return rms_deg(level), float(np.degrees(np.sqrt(np.mean(inclination**2))))


def test_single_units(recordings):
    folders = [next(recordings.glob(f"single_{number}_*")) for number in SINGLE]
    total, inclination = np.mean([single_errors(folder) for folder in folders], axis=0)
    assert total <= 1.0
    assert inclination <= 0.5


@pytest.mark.parametrize(
    "name", ["pendulum_a", "pendulum_b", "robot_arm_circle_150", "robot_arm_triangle_200"]
)
def test_recordings_with_unknown_mounting_run_and_say_what_they_assume(recordings, name):
    warnings = " ".join(warned(fitted(recordings / name)))
    assert "no neutral pose declared" in warnings and "which way the body faced" in warnings


def begun(poses: PoseSequence) -> PoseSequence:
    """The first ten seconds of a motion."""
    kept = poses.time < poses.time[0] + 10.0
    path = None if poses.root_position is None else poses.root_position[kept]
    turns = {name: R[kept] for name, R in poses.rotations.items()}
    return PoseSequence(poses.time[kept], turns, poses.model, path)


@pytest.mark.parametrize("scaled", [False, True], ids=["joint centres unknown", "scaled body"])
def test_fifteen_simulated_units_on_recorded_motion(recordings, scaled):
    """Soft tissue turns each unit by 1° per g, which costs a pair of neighbours about 0.9° by itself."""
    means = []
    for name in ("01_05", "02_08", "02_10"):
        poses = begun(read_motion(recordings / "motions_isb" / f"{name}.parquet"))
        model, person = read_model("whole_body"), person_from_legs(poses.model) if scaled else None
        tissue = SimulationSettings(soft_tissue_deg_per_g=1.0, soft_tissue_mm_per_g=1.7)
        made = simulate(poses, None, tissue, seed=1, model=model, person=person)
        found, true = bodyfit.fit(made.capture, sensors=INERTIAL), made.truth.rotations
        for joint in model.joints.values():
            mine = found.rotations[joint.parent].inv() * found.rotations[joint.child]
            at = np.clip(made.truth.time, found.time[0], found.time[-1])
            relative = true[joint.parent].inv() * true[joint.child]
            means.append(rms_deg(relative.inv() * Slerp(found.time, mine)(at)))
    assert np.mean(means) <= (2.5 if scaled else 3.0)


# ---- clocks and gaps on the rigid chain ----


def chain_changed(folder: Path, change) -> bodyfit.Capture:
    """The rigid chain's capture with each unit changed: change(index, unit)."""
    capture = bodyfit.read_capture(folder)
    units = {name: change(i, unit) for i, (name, unit) in enumerate(capture.units.items())}
    return dataclasses.replace(capture, units=units)


def cut(unit: Unit, keep: np.ndarray) -> Unit:
    return dataclasses.replace(
        unit, time=unit.time[keep], **{s: getattr(unit, s)[keep] for s in unit.sensors}
    )


@pytest.mark.parametrize(("chain", "seed"), [("chain_rigid", 1), ("chain_soft", 4)])
def test_clocks_put_out_of_step_are_found(recordings, chain, seed):
    rng = np.random.default_rng(seed)
    offset, rate = rng.uniform(-0.2, 0.2, 5), rng.uniform(-1e-4, 1e-4, 5)

    def late(i: int, unit: Unit) -> Unit:
        return dataclasses.replace(unit, time=unit.time + offset[i] + rate[i] * (unit.time - 33.0))

    out = chain_changed(recordings / chain, late)
    units = list(out.units.values())
    clocks = unit_clocks(unaided(units), neighbours(units, out.model))
    right = on_one_clock(out.units, clocks)
    intact = bodyfit.read_capture(recordings / chain).units
    left = np.array([right[name].time - unit.time for name, unit in intact.items()])
    assert np.abs(left - np.median(left, 0)).max() < 0.005
    if chain == "chain_rigid":  # the reference's clock is now off by what is left of all
        found = bodyfit.fit(dataclasses.replace(out, units=right), sensors=INERTIAL)
        lags = 0.015 - np.median(left) + np.arange(-4, 5) * 0.0025
        best = min(mean_error(neighbours_of_chain(recordings / chain, found, lag)) for lag in lags)
        before = mean_error(neighbours_of_chain(recordings / chain, fitted(recordings / chain), 0.015))
        assert best < 1.05 * before


def test_clocks_in_step_are_left_alone(recordings):
    for chain in ("chain_rigid", "chain_soft"):
        capture = bodyfit.read_capture(recordings / chain)
        units = list(capture.units.values())
        assert not unit_clocks(unaided(units), neighbours(units, capture.model)).apart.any()
        assert not fitted(recordings / chain).summary.clocks


def outside(found: bodyfit.Fit, start: float, end: float) -> Any:
    """The fit without a stretch."""
    keep = (found.time < start - 0.1) | (found.time > end + 0.1)
    return SimpleNamespace(time=found.time[keep], rotations={n: R[keep] for n, R in found.rotations.items()})


@pytest.mark.parametrize("away", [0, 2, None], ids=["end", "middle", "all"])
def test_a_gap_harms_only_its_own_stretch(recordings, away):
    """Three seconds without one unit, or without any: the rest is as good as ever, headings included."""
    folder = recordings / "chain_rigid"
    broken = chain_changed(
        folder,
        lambda i, u: cut(u, (u.time < 30) | (u.time > 33)) if away in (None, i) else u,
    )
    found = bodyfit.fit(broken, sensors=INERTIAL)
    error, intact = (
        mean_error(neighbours_of_chain(folder, outside(f, 30, 33), 0.015)) for f in (found, fitted(folder))
    )
    assert error <= 1.1 * intact
    inferred = found.summary.sampling.inferred_s
    assert list(inferred) == [f"segment_{i + 1}" for i in range(5) if away in (None, i)]


def test_pendulums_run_and_report_their_gaps(recordings):
    for folder in sorted(recordings.glob("pendulum_*")):
        capture = bodyfit.read_capture(folder)
        reports = [sampling_of(unit) for unit in capture.units.values()]
        assert any(len(report.gaps) for report in reports)
        assert not any(report.split.any() for report in reports)
        kinds = {f.kind for report in reports for f in sampling_findings(report)}
        assert "gap-bridged" in kinds
        assert len(fitted(folder).time) > 1000
