"""A declared pose where some segments carry no unit: how units beyond them are turned against the others."""

# pyright: reportArgumentType=false

import dataclasses

import numpy as np
import pytest
from estimated import estimated
from hinged_chain import chain, swinging
from scipy.spatial.transform import Rotation
from scripted_motion import person, quiet, swung

from bodyfit.core.rotations import heading_matrix
from bodyfit.estimator.initial.heading_walk import Walk
from bodyfit.estimator.linearise import linearise
from bodyfit.recording.capture import Calibration
from bodyfit.recording.keyframe_averages import averages
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate
from bodyfit.simulation.unit_path import WornUnit

TWO = ("accelerometer", "gyroscope")
HELD_S, FROM_S = 3.0, 4.0
ASKEW = {  # quaternions by which units sit: about the vertical, and anyhow
    "a": Rotation.from_euler("Y", 100.0, degrees=True).as_quat(),
    "c": Rotation.from_euler("YZX", [-70.0, 30.0, 20.0], degrees=True).as_quat(),
}


def moving(time):
    return np.clip((time - HELD_S) / (FROM_S - HELD_S), 0.0, 1.0) ** 2


def capture_of(stated: bool = True, seconds: float = 12.0, posed: bool = True):
    """A chain whose middle segment carries no unit; it hangs straight for three seconds, then swings."""
    poses = swinging(seconds, moving=moving)
    still = (Calibration("still", 0.5, HELD_S - 0.5, "neutral"),) if posed else ()
    worn = {f"{name}_unit": WornUnit(name, mounting=turn) for name, turn in ASKEW.items()}
    settings = SimulationSettings.perfect(state_mounting=stated)
    return simulate(poses, worn, settings, model=chain(known=True), calibrations=still).capture


@pytest.fixture(scope="module")
def solved():
    return estimated(capture_of(), sensors=TWO)[1]


def test_a_pose_tells_of_all_segments_that_were_there(solved):
    assert solved.problem.posed.all()
    without = dataclasses.replace(solved.problem, held=())
    assert not without.posed.any() and not without.in_pose().any()
    inside = solved.problem.signals.key_time[solved.problem.in_pose()]
    assert inside[0] >= 0.5 and inside[-1] <= HELD_S - 0.5 and len(inside) > 10


@pytest.mark.parametrize("stated", [(), ("a",), ("c",), ("a", "c")])
def test_a_mounting_found_from_the_pose_says_nothing_of_it(solved, stated):
    """Stated ones are held against each other, and segments without a unit always."""
    problem, at = solved.problem, np.flatnonzero(solved.problem.measured)
    given = list(problem.given_mounting)
    for unit, segment in zip(at, ("a", "c"), strict=True):
        given[unit] = given[unit] if segment in stated else None
    problem = dataclasses.replace(problem, given_mounting=given)
    parts = linearise(problem, solved.state, solved.body, solved.average, solved.trust)
    (part,) = [part for part in parts if part.name == "held pose"]
    bare = int(np.flatnonzero(~problem.measured)[0])
    against = int(at[1]) if stated == ("c",) else int(at[0])
    units = {int(unit) for unit in part.jacobians[0][0]}
    assert units == {bare} | ({int(at[1])} if len(stated) == 2 else set())
    assert set(part.jacobians[1][0]) == {against}


def test_the_pose_counts_once_by_how_well_people_hold_it(solved):
    found = solved
    parts = linearise(found.problem, found.state, found.body, found.average, found.trust)
    (part,) = [part for part in parts if part.name == "held pose"]
    sd = found.problem.held[0].sd
    assert part.value.shape[1] == 2  # the others, against the first
    assert not next(part for part in parts if part.name == "posture").weight.any()  # it starts in the pose
    full = (part.weight / part.share[..., None]).sum(0)
    np.testing.assert_allclose(full, 1 / (sd[1:] ** 2 + sd[0] ** 2), rtol=1e-9)


def test_where_every_segment_carries_a_unit_joints_tell_instead():
    poses = swinging(8.0, moving=moving)
    still = (Calibration("still", 0.5, HELD_S - 0.5, "neutral"),)
    made = simulate(poses, None, SimulationSettings.perfect(), model=chain(known=True), calibrations=still)
    found = estimated(made.capture, sensors=TWO)[1]
    parts = linearise(found.problem, found.state, found.body, found.average, found.trust)
    assert found.problem.posed.all() and "held pose" not in {part.name for part in parts}


@pytest.mark.parametrize("turned", [0.0, 2.0, -2.5])
def test_units_beyond_a_bare_segment_start_as_the_pose_has_them(solved, turned):
    """However they sit on their segments."""
    found, problem = solved, solved.problem
    R = found.state.R.copy()
    a, c = 0, int(np.flatnonzero(problem.measured)[-1])
    R[:, c] = heading_matrix(np.array(turned)) @ R[:, c]
    average = averages(problem.signals, problem.turns, R)
    walk = Walk(problem, R, average, dataclasses.replace(found.body, facing=None), found.trust)
    for i in range(len(problem.ties)):
        walk.go_along(i)
    M = found.body.mounting.segment_from_unit
    inside = problem.in_pose()
    between = (walk.out[inside, a] @ M[a].T).swapaxes(-1, -2) @ walk.out[inside, c] @ M[c].T
    assert np.degrees(Rotation.from_matrix(between).magnitude()).max() < 2.0


def off_deg(fit, poses):
    """Mean degrees by which the far segment is turned against the near one otherwise than in truth."""
    at = fit.time > FROM_S + 1
    near = np.searchsorted(poses.time, fit.time[at]).clip(0, len(poses.time) - 1)
    true = poses.rotations["a"][near].inv() * poses.rotations["c"][near]
    found = fit.rotations["a"][at].inv() * fit.rotations["c"][at]
    return np.degrees((true.inv() * found).magnitude()).mean()


def test_a_pose_tells_how_units_face_that_no_joint_ties_together():
    poses = swinging(12.0, moving=moving)
    told, untold = (estimated(capture_of(posed=posed), sensors=TWO)[0] for posed in (True, False))
    assert off_deg(told, poses) < 3.0
    sd = [np.mean(fit.segment_sd["c"].heading[fit.time > FROM_S]) for fit in (told, untold)]
    assert sd[0] < 0.95 * sd[1]  # its joints here tell most


@pytest.fixture(scope="module")
def straight_leg():
    """A leg hangs straight for three seconds, then swings; no unit on the thigh, no mounting stated."""
    model = person("left_leg")
    swing = swung(model, 12.0)
    share = moving(swing.time)
    held = Rotation.from_rotvec(np.zeros((len(share), 3)))
    rotations = {
        name: held * Rotation.from_rotvec(share[:, None] * R.as_rotvec())
        for name, R in swing.rotations.items()
    }
    poses = dataclasses.replace(swing, rotations=rotations)
    still = (Calibration("still", 0.5, HELD_S - 0.5, "neutral"),)
    settings = quiet(state_mounting=False)
    made = simulate(poses, ["pelvis", "l_calf", "l_hindfoot"], settings, model=model, calibrations=still)
    return estimated(made.capture, sensors=TWO)[0]


def test_a_bare_segment_stands_as_the_pose_has_it_where_mountings_come_from_it(straight_leg):
    """Usual postures alone bend hip and knee by some 30 degrees."""
    at = (straight_leg.time > 1.0) & (straight_leg.time < HELD_S - 1.0)
    up = straight_leg.rotations["l_thigh"][at].apply([0.0, 1.0, 0.0])[:, 1]
    assert np.degrees(np.arccos(up)).max() < 5.0
