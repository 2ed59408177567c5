"""Which unit is where: true placements first, exchanges found, and what the motion can't show left open."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from functools import cache
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scripted_motion import person, simulated, swung

import bodyfit
from bodyfit.alignment.joint_centre import joint_start
from bodyfit.calibration.placement.assignment import Placement, find_placement, placed, refuse_unplaced
from bodyfit.calibration.placement.body_tree import tree_of
from bodyfit.calibration.placement.findings import check_placement, placement_findings
from bodyfit.calibration.placement.pair_agreement import most_motion, pair_table
from bodyfit.errors import CannotReconstructError, InputError
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.recording.capture import Capture, Unit
from bodyfit.recording.single_units import Unaided, unaided
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate

REPOSITORY = Path(__file__).resolve().parents[2]
SHARED = REPOSITORY.parent / "shared" / "data"
needs_recordings = pytest.mark.skipif(not SHARED.exists(), reason=f"no recordings in {SHARED}")
LEG = ("thigh", "calf", "hindfoot")
UNMOUNTED = SimulationSettings(mounting_spread=np.pi, state_mounting=False)


@cache
def lifting() -> tuple[Capture, Unaided]:
    """The demo capture of somebody who walks with parcels: fifteen units, mountings unknown."""
    capture = bodyfit.read_capture(REPOSITORY / "demo_captures" / "parcel_lift").between(0.0, 40.0)
    return capture, unaided(list(capture.units.values()))


def both_sides(*parts: str) -> dict[str, str]:
    pairs = [(f"l_{part}", f"r_{part}") for part in parts]
    return dict(pairs) | {b: a for a, b in pairs}


def said(units, swap: Mapping[str, str | None]) -> list[Unit]:
    """Units that say to be elsewhere."""
    return [dataclasses.replace(u, segment=swap.get(u.segment, u.segment)) for u in units]


def found_when(swap: Mapping[str, str | None]) -> Placement:
    capture, alone = lifting()
    units = said(capture.units.values(), swap)
    found = find_placement(units, capture.model, capture.person, capture.calibrations, alone)
    assert found is not None
    return found


def truth(capture: Capture) -> dict[str, str]:
    return {name: str(unit.segment) for name, unit in capture.units.items()}


# ---- pairs ----


def test_a_pair_is_fitted_as_the_estimator_starts_a_joint():
    _, alone = lifting()
    at = [alone.units.index(name) for name in ("l_thigh_unit", "l_calf_unit")]
    stretch = most_motion(alone)
    table = pair_table(stretch)
    F, L = (x - x.mean(0) for x in (stretch.force[:, at], stretch.lever[:, at]))
    sd, alike = table.rms[at[0], at[1]], len(F) / stretch.telling
    headings, cost, levers = joint_start(
        (F[:, 0], L[:, 0]), (F[:, 1], L[:, 1]), np.zeros(6), np.eye(6) / 0.3**2, sd, alike
    )
    best = int(np.argmin(cost))
    off = np.angle(np.exp(1j * (headings[best] - table.heading[at[0], at[1]])))
    assert abs(np.degrees(off)) < 4  # joint_start's headings are five degrees apart
    found = np.stack([table.lever[at[0], at[1]], table.lever[at[1], at[0]]])
    assert np.abs(found - levers[best]).max() < 0.03


def test_a_constant_error_of_an_accelerometer_is_no_disagreement():
    _, alone = lifting()
    stretch = most_motion(alone)
    level = np.zeros((len(alone.units), 3))
    level[3] = [0.0, 0.3, 0.1]  # m/s²
    off = dataclasses.replace(stretch, force=stretch.force + level)
    np.testing.assert_allclose(pair_table(off).rms, pair_table(stretch).rms, rtol=1e-6)


@cache
def knees():
    """A walker's thighs and calves, mountings unknown, with their truth."""
    made = simulate(read_motion(SHARED / "motions_isb" / "01_01.parquet"), None, UNMOUNTED, 4)
    return made, unaided(list(made.capture.units.values()))


@needs_recordings
def test_lever_arms_of_neighbours_are_the_true_ones_across_the_hinge():
    made, alone = knees()
    table = pair_table(most_motion(alone))
    joint = made.truth.model.joints["r_elbow"]
    for segment, beyond, centre in (
        ("r_upperarm", "r_forearm", joint.centre_in_parent),
        ("r_forearm", "r_upperarm", np.zeros(3)),
    ):
        unit = made.units[f"{segment}_unit"]
        true = unit.mounting.inv().apply(centre - unit.position)
        a, b = (alone.units.index(f"{s}_unit") for s in (segment, beyond))
        assert np.linalg.norm(table.lever[a, b] - true) < 0.06
        assert table.rms[a, b] < 0.5 * np.median(np.delete(table.rms[a], a))


# ---- the chain: every order of five units ----


@needs_recordings
@pytest.mark.parametrize("name", ["chain_rigid", "chain_soft"])
@pytest.mark.parametrize("mounted", [True, False])
def test_of_all_orders_of_the_chain_the_true_one_comes_first(name, mounted):
    capture = bodyfit.read_capture(SHARED / name)
    units = list(capture.units.values())
    units = units if mounted else [dataclasses.replace(u, mounting=None) for u in units]
    alone, ranks = unaided(units), []
    for order in list(permutations(range(5)))[::17]:
        swap = {f"segment_{i + 1}": f"segment_{o + 1}" for i, o in enumerate(order)}
        found = find_placement(said(units, swap), capture.model, alone=alone)
        assert found is not None
        assert found.compared == 120
        assert found.best.segments == truth(capture)
        assert found.best.probability > 0.9
        ranks.append([one.segments for one in found.candidates].index(found.given))
    assert ranks[0] == 0
    assert min(ranks[1:]) > 0


# ---- a whole body ----


def test_a_right_placement_raises_no_alarm():
    found = found_when({})
    assert found.best.segments == found.given
    assert placement_findings(found) == ()


@pytest.mark.parametrize(
    "swap",
    [
        both_sides("thigh"),
        both_sides("hindfoot"),
        both_sides("forearm"),
        both_sides(*LEG),
        both_sides("upperarm", "forearm", "hand"),
        {"l_thigh": "l_calf", "l_calf": "l_thigh"},
    ],
    ids=lambda swap: "+".join(swap),
)
def test_an_exchange_is_found_and_said_loudly(swap):
    capture, _ = lifting()
    found = found_when(swap)
    assert found.best.segments == truth(capture)
    (finding,) = placement_findings(found)
    assert (finding.kind, finding.severity) == ("placement-swapped", "serious")
    assert set(finding.units) == {f"{segment}_unit" for segment in swap}
    assert set(finding.segments) == set(swap)
    first = next(iter(swap))
    assert f"{swap[first]}_unit is said to be on {first}, is worn on {swap[first]}" in finding.what


def test_units_without_a_segment_are_placed_and_refused_until_then():
    capture, _ = lifting()
    found = found_when({"l_calf": None, "r_hand": None})
    assert {f.kind for f in placement_findings(found)} == {"placement-found"}
    units = {u.name: u for u in said(capture.units.values(), {"l_calf": None, "r_hand": None})}
    with pytest.raises(
        CannotReconstructError, match=r"units\.r_hand_unit.*no segment.*most probably r_hand \("
    ):
        refuse_unplaced({"r_hand_unit": units["r_hand_unit"]}, found)
    repaired = placed(units, found)
    refuse_unplaced(repaired, found)
    assert {name: unit.segment for name, unit in repaired.items()} == truth(capture)


def test_legs_without_a_pelvis_could_be_either():
    capture, _ = lifting()
    legs = {n: u for n, u in capture.units.items() if str(u.segment)[2:] in LEG}
    found, findings = check_placement(dataclasses.replace(capture, units=legs))
    assert found is not None
    for name, unit in legs.items():
        here, there = str(unit.segment), both_sides(*LEG)[str(unit.segment)]
        assert found.places[name][here] == pytest.approx(found.places[name][there], rel=0.1)
    assert not found.misplaced
    assert [f.kind for f in findings] == ["placement-undecided"]
    assert findings[0].severity == "note"


def test_a_mounting_written_down_for_a_place_stays_with_the_place():
    """Two tables mixed up: the mountings in setup.toml are right for the places, not for the units."""
    made = simulate(swung(person("lower_body"), 12.0), None, SimulationSettings(mounting_spread=np.pi), 3)
    units = dict(made.capture.units)
    a, b = units["l_thigh_unit"], units["l_calf_unit"]
    units["l_thigh_unit"] = dataclasses.replace(a, segment=b.segment, mounting=b.mounting)
    units["l_calf_unit"] = dataclasses.replace(b, segment=a.segment, mounting=a.mounting)
    found = find_placement(list(units.values()), made.capture.model)
    assert found is not None
    assert found.best.segments == truth(made.capture)
    assert found.best.mounting_of_place
    repaired = placed(units, found)
    np.testing.assert_array_equal(repaired["l_thigh_unit"].mounting, a.mounting)


def test_a_body_that_does_not_move_is_left_open():
    poses = swung(person("lower_body"), 12.0)
    count = len(poses.time)
    still = {
        name: Rotation.from_quat(np.tile(r[0].as_quat(), (count, 1))) for name, r in poses.rotations.items()
    }
    made = simulate(dataclasses.replace(poses, rotations=still, root_position=None), None, UNMOUNTED, 3)
    found, findings = check_placement(made.capture)
    assert found is not None
    assert not found.misplaced
    assert [f.kind for f in findings] == ["placement-undecided"]


def test_too_short_a_capture_says_so():
    capture, _ = lifting()
    found, (finding,) = check_placement(capture.between(0.0, 1.0))
    assert found is None
    assert finding.kind == "placement-unchecked"
    assert "s in which all of 15 units were sampled, expected at least 2 s" in finding.what


def test_names_that_are_not_in_the_model_are_refused():
    with pytest.raises(InputError, match=r"segment 'l_thigth' is not in the model.*did you mean 'l_thigh'"):
        found_when({"l_thigh": "l_thigth"})


# ---- the body by index ----


def test_knees_and_elbows_bend_one_way_only():
    tree = tree_of(bodyfit.read_model("whole_body"), None)
    names = {tree.joints[b.joint].name: b.sense for b in tree.bends}
    assert names == {"l_elbow": 1, "r_elbow": 1, "l_knee": -1, "r_knee": -1}
    assert {tree.joints[a].name for a, _ in tree.mirrored} == {"l_hip", "l_shoulder"}


def test_rest_about_a_short_motion_makes_it_no_surer():
    """Two seconds of swinging between two rests of two count about as much as they do alone."""
    units = {u.name: u.between(4.0, 6.0) for u in simulated("right_arm").capture.units.values()}
    alone = most_motion(unaided(list(units.values()))).independent
    padded = []
    for unit in units.values():
        assert unit.gyroscope is not None and unit.accelerometer is not None
        felt, ends = unit.accelerometer, np.ones((100, 1))
        first, last = (9.81 * f / np.linalg.norm(f) for f in (felt[0], felt[-1]))
        rest = {
            "gyroscope": np.pad(unit.gyroscope, ((100, 100), (0, 0))),
            "accelerometer": np.concatenate([ends * first, felt, ends * last]),
        }
        time = unit.time[0] + 0.02 * np.arange(-100, len(unit.time) + 100)
        padded.append(dataclasses.replace(unit, time=time, magnetometer=None, **rest))
    stretch = most_motion(unaided(padded))
    assert len(stretch.R) > 2.5 * 2.0 / 0.125
    assert 0.5 * alone < stretch.independent < 1.7 * alone
