"""What is said of mountings: at odds with a pose, assumed, not shown in some direction."""
# pyright: reportArgumentType=false, reportOptionalMemberAccess=false, reportOptionalSubscript=false

import dataclasses
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import bodyfit
from bodyfit.alignment.evidence import Guess
from bodyfit.alignment.facing.evidence import ShownLength
from bodyfit.alignment.mounting import Held, Mounting
from bodyfit.core.rotations import UP
from bodyfit.fitting.fit import fit
from bodyfit.fitting.mounting_findings import _badly_held, open_directions
from bodyfit.recording.capture import Capture
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate
from tests.scripted_motion import PLACE, person, swung

DEMO = Path(__file__).resolve().parents[2] / "demo_captures" / "cello_arm"


@pytest.fixture(scope="module")
def capture() -> Capture:
    """An arm with all mountings stated to some degrees."""
    settings = SimulationSettings(soft_tissue_deg_per_g=0.0)
    return simulate(swung(person("right_arm"), 30.0), None, settings, seed=3, place=PLACE).capture


def of_kind(found, kind):
    return [f for f in found.findings if f.kind == kind]


@pytest.mark.parametrize("axis", ["X", "Z"])
def test_a_mounting_stated_askew_stands_off_by_that_much_in_the_pose(axis):
    """The demo's forearm with the mounting that was found, and with one 40° from it, in a declared pose."""
    cello = bodyfit.read_capture(DEMO).between(0.0, 20.0)
    right = Rotation.from_matrix(fit(cello).mounting["forearm"][0])

    def stated(mounting):
        unit = dataclasses.replace(cello.units["forearm"], mounting=mounting.as_quat())
        return fit(dataclasses.replace(cello, units={**cello.units, "forearm": unit}))

    good = stated(right)
    assert not of_kind(good, "pose-badly-held") and not of_kind(good, "mounting-disagrees")
    askew = Rotation.from_euler(axis, 40.0, degrees=True) * right
    (found,) = of_kind(stated(askew), "mounting-disagrees")
    assert found.severity == "serious"
    assert found.units == ("forearm",) and (found.start, found.end) == pytest.approx((0.5, 3.0))
    assert found.value == pytest.approx(40.0, abs=5.0)


def test_without_mounting_and_pose_the_first_moments_are_taken_for_neutral_and_it_is_said(capture):
    units = {n: dataclasses.replace(u, mounting=None) for n, u in capture.units.items()}
    found = fit(dataclasses.replace(capture, units=units, calibrations=()))
    (assumed,) = of_kind(found, "pose-assumed")
    assert set(assumed.units) == set(units) and assumed.severity == "warning"
    assert "Declare a [[calibration]]" in assumed.advice
    assert not of_kind(fit(capture), "pose-assumed")


def spread(*sd_deg, turn=None):
    """A mounting of one unit with these deviations about its segment's axes, or about turned ones."""
    R = np.eye(3) if turn is None else Rotation.from_euler(*turn, degrees=True).as_matrix()
    covariance = R @ np.diag(np.radians(sd_deg) ** 2) @ R.T
    some = dataclasses.fields(Mounting)
    blank = dict.fromkeys((f.name for f in some), None)
    return Mounting(**blank | {"covariance": covariance[None]})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("mounting", "said"),
    [
        (spread(5, 5, 5), ()),
        (spread(5, 60, 5), ("the turn about Y, along the segment",)),
        (spread(5, 5, 60, turn=("X", 10)), ("the turn about Z, to the right",)),
        (spread(60, 5, 5, turn=("Z", 45)), ("the turn about (0.7, 0.7, 0.0)",)),
        (spread(100, 100, 100), ("any turn",)),
    ],
)
def test_open_directions_are_told_by_the_segments_axes(mounting, said):
    assert open_directions(mounting, 0) == said


def test_two_open_directions_are_told_widest_first():
    assert open_directions(spread(50, 5, 90), 0) == (
        "the turn about Z, to the right",
        "the turn about X, forward",
    )


@pytest.mark.parametrize(("leant", "told"), [(34.0, True), (12.0, False)])
def test_a_pose_held_askew_is_told_when_joints_show_it(leant, told):
    level = ShownLength(0, UP, 0.1, np.radians(leant))
    guess = Guess(np.eye(3)[None], np.zeros(1), np.zeros((1, 3)))
    fused = SimpleNamespace(evidence=[level], surprise=[0.0], guess=guess)
    held = Held("standing", 0.1, 1.5, np.eye(3)[None], np.full((1, 3), 0.1), True)
    problem = SimpleNamespace(signals=SimpleNamespace(units=("arm",)))
    found = _badly_held(problem, SimpleNamespace(held=[held], fused=fused))
    assert [f.kind for f in found] == ["pose-badly-held"] * told
    if told:
        assert "arm leant, as joints show, by up to 34°" in found[0].what and found[0].threshold == 20.0
