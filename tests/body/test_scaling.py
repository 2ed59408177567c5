"""Parts of a body scaled to a person, and the same body as pinocchio knows it."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.body.parts import Joint, Segment
from bodyfit.body.person import Person
from bodyfit.body.pinocchio_model import pinocchio_model
from bodyfit.body.scaling import resized_segment, scaled_joint, scaled_segment, stature_of, times_share
from bodyfit.body.usual_postures import UsualPosture
from bodyfit.errors import InputError
from bodyfit.files.model.model_file import read_model
from bodyfit.files.model.usual_postures_file import read_usual_postures, usual_posture_names

PERSON = Person(stature_m=1.80, mass_kg=80.0)
THIGH = Segment(
    "thigh",
    length_of_stature=0.245,
    mass_of_body=0.1,
    com_of_length=np.array([0.0, -0.4, 0.0]),
    gyration_of_length=np.array([0.3, 0.15, 0.3]),
)


def test_lengths_go_by_stature_and_masses_by_body_mass():
    """Worked by hand: 0.245 × 1.80 m, 0.1 × 80 kg, I = m r² with radii as shares of the length."""
    thigh = scaled_segment(THIGH, PERSON, PERSON.stature_m)
    assert (thigh.length, thigh.mass) == (pytest.approx(0.441), pytest.approx(8.0))
    np.testing.assert_allclose(thigh.com, [0, -0.1764, 0])
    np.testing.assert_allclose(np.diag(thigh.inertia), 8.0 * (0.441 * np.array([0.3, 0.15, 0.3])) ** 2)


def test_what_is_given_in_metres_is_kept():
    thigh = scaled_segment(Segment("thigh", length=0.5, mass=7.0), PERSON, PERSON.stature_m)
    assert (thigh.length, thigh.mass, thigh.inertia) == (0.5, 7.0, None)


def test_nothing_is_known_of_a_person_of_unknown_size():
    thigh = scaled_segment(THIGH, Person(), None)
    assert (thigh.length, thigh.mass, thigh.com, thigh.inertia) == (None, None, None, None)
    assert times_share(None, 1.8) is None and times_share(0.5, None) is None and times_share(0.5, 1.8) == 0.9


def test_a_measured_length_stands_for_a_stature_of_its_own():
    measured = Person(stature_m=1.80, lengths_m={"thigh": 0.49})
    assert stature_of(THIGH, measured) == pytest.approx(2.0)  # 0.49 / 0.245
    assert stature_of(Segment("calf"), measured) == 1.80


def test_a_segment_of_another_length_keeps_its_shape():
    thigh = scaled_segment(THIGH, PERSON, PERSON.stature_m)
    longer = resized_segment(thigh, 0.882, 2.0)
    assert longer.length == 0.882
    np.testing.assert_allclose(longer.com, 2 * np.asarray(thigh.com))
    np.testing.assert_allclose(longer.inertia, 4 * np.asarray(thigh.inertia))
    assert resized_segment(thigh, None, 2.0) is thigh


def test_centres_of_a_joint_go_by_the_statures_of_both_ends():
    knee = Joint("knee", "thigh", "calf", centre_in_parent_of_stature=np.array([0.0, -0.245, 0.0]))
    scaled = scaled_joint(knee, PERSON, 2.0, 1.8)
    np.testing.assert_allclose(scaled.centre_in_parent, [0, -0.49, 0])
    np.testing.assert_array_equal(scaled.centre_in_child, np.zeros(3))  # the child's origin
    unknown = scaled_joint(knee, PERSON, None, None)
    assert unknown.centre_in_parent is None and unknown.centre_in_child is None


def test_usual_postures_are_read_for_the_joints_of_a_model_only():
    (name, *_) = usual_posture_names()
    every = read_usual_postures(name, read_model("whole_body").joints)
    (joint, posture) = next(iter(every.items()))
    assert isinstance(posture, UsualPosture) and posture.turn.shape == posture.between.shape == (3,)
    np.testing.assert_array_equal(posture.within, posture.within.T)
    assert list(read_usual_postures(name, {joint})) == [joint] and read_usual_postures(name, {"tail"}) == {}


# --- pinocchio ---


def two_bars(kind: str, **joint) -> tuple:
    segments = {
        "upper": Segment("upper", mass=2.0, com=np.array([0.0, -0.1, 0.0]), inertia=0.01 * np.eye(3)),
        "lower": Segment("lower", mass=1.0, com=np.array([0.0, -0.2, 0.0]), inertia=0.02 * np.eye(3)),
    }
    place = {"centre_in_parent": np.array([0.0, -0.3, 0.0]), "centre_in_child": np.array([0.0, 0.05, 0.0])}
    return "bars", "upper", segments, {"j": Joint("j", "upper", "lower", kind, **{**place, **joint})}


@pytest.mark.parametrize(
    ("kind", "more", "unknowns"),
    [("ball", {}, 3), ("hinge", {"axis": np.array([0.0, 0.0, 2.0])}, 1), ("fixed", {}, 0)],
)
def test_a_joint_has_its_freedom_and_its_place(kind, more, unknowns):
    import pinocchio as pin

    model = pinocchio_model(*two_bars(kind, **more))
    assert model.nv == 6 + unknowns  # a free-flying root
    data = model.createData()
    pin.framesForwardKinematics(model, data, pin.neutral(model))
    at = data.oMf[model.getFrameId("lower")].translation
    np.testing.assert_allclose(at, [0, -0.35, 0], atol=1e-12)  # centre, less where it lies in the child
    com = pin.centerOfMass(model, data, pin.neutral(model))
    np.testing.assert_allclose(com, [0, (2 * -0.1 + 1 * (-0.35 - 0.2)) / 3, 0], atol=1e-12)
    assert pin.computeTotalMass(model) == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("kind", "more", "told"),
    [
        ("ball", {"centre_in_parent": None, "centre_in_child": None}, r"joints\.j: its centre is unknown"),
        ("hinge", {"axis": None}, r"joints\.j\.axis: unknown"),
    ],
)
def test_what_is_unknown_is_refused_by_name(kind, more, told):
    with pytest.raises(InputError, match=told):
        pinocchio_model(*two_bars(kind, **more))
