"""What an earlier fit of the same person lends: lengths and usual postures."""

# pyright: reportArgumentType=false, reportOptionalSubscript=false

import dataclasses

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scripted_motion import PERSON, person, swung

import bodyfit
from bodyfit.body.usual_postures import UsualPosture
from bodyfit.fitting.same_person import SHARE, with_earlier
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate
from bodyfit.weights import Weights

LONGER = {"r_thigh": 0.46, "r_calf": 0.40}  # m; of the stature 0.43 and 0.43 would be usual
SENSORS = {"accelerometer", "gyroscope"}


@pytest.fixture(scope="module")
def captures():
    """A long-thighed person, known by stature only, all units worn; and what is true."""
    model = person("right_leg").resized(LONGER)
    made = simulate(
        swung(model, 20.0),
        None,
        SimulationSettings.perfect(),
        0,
        model=bodyfit.read_model("right_leg"),
        person=PERSON,
    )
    return made.capture, made.truth


@pytest.fixture(scope="module")
def earlier(captures):
    return bodyfit.fit(captures[0], sensors=SENSORS)


def test_what_is_learned_is_the_conditional_normal():
    """Against numpy: the joint covariance of the two means, partitioned."""
    usual = UsualPosture(np.zeros(3), np.eye(3), np.radians([10.0, 20.0, 5.0]))
    share, person_sd, noise = 0.6, np.radians(8.0), np.radians(4.0) ** 2
    mean = np.radians([12.0, 0.0, 0.0])
    learned = usual.learned(mean, noise, share, person_sd)
    for axis in range(3):
        V = usual.between[axis] ** 2 + person_sd**2
        seen, crossed = np.array([[V + noise]]), np.array([[share * V]])
        gain = crossed @ np.linalg.inv(seen)
        left = V - (gain @ crossed.T)[0, 0]
        np.testing.assert_allclose(learned.turn[axis], gain[0, 0] * mean[axis], atol=1e-12)
        np.testing.assert_allclose(learned.between[axis] ** 2 + person_sd**2, max(left, person_sd**2))


def test_nothing_is_learned_of_a_motion_that_tells_nothing():
    usual = UsualPosture(np.array([0.1, -0.2, 0.3]), np.eye(3), np.radians([10.0, 20.0, 5.0]))
    for learned in (usual.learned(np.ones(3), 1e9, 0.5, 0.1), usual.learned(np.ones(3), 0.0, 0.0, 0.1)):
        np.testing.assert_allclose(learned.turn, usual.turn, atol=1e-6)
        np.testing.assert_allclose(learned.between, usual.between, rtol=1e-6)


def test_a_deviation_is_the_mean_turn_from_the_usual_posture():
    usual = UsualPosture(np.array([0.1, -0.2, 0.3]), np.eye(3), np.zeros(3))
    off = np.array([[0.2, 0.0, 0.1], [0.0, 0.0, 0.3]])
    relative = (Rotation.from_rotvec(usual.turn) * Rotation.from_rotvec(off)).as_matrix()
    np.testing.assert_allclose(usual.deviation(relative), off.mean(0), atol=1e-12)


def test_lengths_that_the_motion_showed_are_lent(captures, earlier):
    capture, _ = captures
    known, (note,) = with_earlier(capture, earlier, Weights())
    by_stature = capture.model.scaled(PERSON).segments
    for name, length in LONGER.items():
        lent, sd = known.person.lengths_m[name], known.person.lengths_sd_m[name]
        assert abs(lent - length) < 0.7 * abs(by_stature[name].length - length)
        assert abs(lent - length) < 2 * sd < 0.04
    assert note.kind == "same-person" and "2 lengths" in note.what
    scaled = known.model.scaled(known.person)
    assert scaled.segments["r_thigh"].length == known.person.lengths_m["r_thigh"]


def test_a_length_of_ones_own_stays(captures, earlier):
    capture, _ = captures
    own = dataclasses.replace(PERSON, lengths_m={"r_thigh": 0.44})
    known, _ = with_earlier(dataclasses.replace(capture, person=own), earlier, Weights())
    assert known.person.lengths_m["r_thigh"] == 0.44 and "r_thigh" not in known.person.lengths_sd_m


def test_usual_postures_move_towards_the_earlier_motion(captures, earlier):
    capture, _ = captures
    known, _ = with_earlier(capture, earlier, Weights())
    R = earlier.rotations
    relative = (R["r_thigh"].inv() * R["r_calf"]).as_matrix()
    before, after = (one.model.usual_postures["r_knee"] for one in (capture, known))
    left = np.linalg.norm(after.deviation(relative)) / np.linalg.norm(before.deviation(relative))
    assert 1 - 1.1 * SHARE < left < 1 - 0.7 * SHARE
    assert np.all(after.between < before.between + 1e-12)


def test_a_fit_takes_and_tells_it(captures, earlier):
    capture, truth = captures
    asked = {"sensors": SENSORS, "leave_out": ["r_calf_unit"]}
    plain, helped = (bodyfit.fit(capture, same_person=one, **asked) for one in (None, earlier))
    assert helped.summary.options.same_person and plain.summary.options.same_person is None
    assert "same-person" in {f.kind for f in helped.findings}
    assert helped.summary.segments["r_calf"].length_source == "earlier fit"
    knee = np.interp(plain.time, truth.time, truth.joint_angles["r_knee"]["flexion"])
    off = [np.sqrt(np.mean((f.joint_angles["r_knee"]["flexion"] - knee) ** 2)) for f in (plain, helped)]
    assert off[1] < off[0]
    _, (note,) = with_earlier(capture, plain, Weights())  # in which nothing measured knee and ankle
    assert note.joints == ("r_hip",)


def test_a_fit_of_another_body_is_refused(earlier):
    arm = simulate(swung(person("right_arm"), 4.0), None, SimulationSettings.perfect(), 0).capture
    with pytest.raises(
        bodyfit.errors.InputError, match=r"earlier fit is of 'right_leg'.*no segment of 'right_arm'"
    ):
        bodyfit.fit(arm, same_person=earlier)
