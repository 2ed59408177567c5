"""Body models: structure, scaling to a person, the models that come with the package."""

# numbers that may be unknown (None) are known in these models
# pyright: reportCallIssue=false, reportArgumentType=false, reportOptionalOperand=false, reportOperatorIssue=false

import dataclasses
import subprocess
import sys

import numpy as np
import pytest

from bodyfit.body.anatomy import standard_angles
from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import from_joint_angles
from bodyfit.body.parts import Joint, Segment
from bodyfit.body.person import Person
from bodyfit.errors import InputError
from bodyfit.files.model.model_file import model_names, read_model

SHIPPED = {
    "right_arm": 4,
    "left_arm": 4,
    "right_leg": 4,
    "left_leg": 4,
    **{f"{side}_{joint}": 2 for side in ("right", "left") for joint in ("knee", "elbow", "ankle")},
    "lower_body": 7,
    "upper_body": 8,
    "whole_body": 15,
}
every_model = pytest.mark.parametrize("name", SHIPPED)
PERSON = Person(1.75, 70.0, "female")


def chain(*pairs, **more):
    names = {name for pair in pairs for name in pair}
    segments = {name: Segment(name) for name in sorted(names)}
    joints = {f"{a}{b}": Joint(f"{a}{b}", a, b, **more) for a, b in pairs}
    return BodyModel("chain", segments, joints)


def test_joints_are_put_in_order_from_the_root_outwards():
    model = chain(("c", "d"), ("b", "c"), ("a", "b"), ("b", "e"))
    assert model.root == "a"
    seen = {"a"}
    for joint in model.joints.values():
        assert joint.parent in seen
        seen.add(joint.child)
    assert seen == set(model.segments)


def test_a_single_segment_is_a_model():
    model = BodyModel("one", {"box": Segment("box")}, {})
    assert model.root == "box"
    assert model.pinocchio().nq == 7


def test_two_roots_are_refused():
    with pytest.raises(
        InputError, match=r"found 2 roots \(a, c\), expected one segment that is no joint's child"
    ):
        chain(("a", "b"), ("c", "d"))


def test_a_cycle_is_refused():
    with pytest.raises(InputError, match="joints bc, cb form a cycle"):
        BodyModel(
            "ring",
            {name: Segment(name) for name in "abc"},
            {"bc": Joint("bc", "b", "c"), "cb": Joint("cb", "c", "b")},
        )


def test_a_cycle_of_all_segments_is_refused():
    with pytest.raises(InputError, match="form a cycle"):
        chain(("a", "b"), ("b", "a"))


def test_two_joints_with_one_child_are_refused():
    with pytest.raises(InputError, match="joints ac and bc both have the child 'c'"):
        chain(("a", "c"), ("b", "c"), ("a", "b"))


def test_a_joint_to_nowhere_is_refused_with_the_near_name():
    segments = {"thigh": Segment("thigh"), "calf": Segment("calf")}
    with pytest.raises(InputError, match=r"joints.knee.child: found 'calv'; .*did you mean 'calf'"):
        BodyModel("leg", segments, {"knee": Joint("knee", "thigh", "calv")})


def test_a_model_without_segments_is_refused():
    with pytest.raises(InputError, match="has no segments"):
        BodyModel("nothing", {}, {})


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"type": "hinged"}, "joints.j.type: found 'hinged'.*did you mean 'hinge'"),
        ({"sequence": "ZZY"}, "joints.j.sequence: found 'ZZY'"),
        ({"angles": ("a", "a", "b")}, "joints.j.angles: found .*three different names"),
        ({"signs": (1, 1, 2)}, "joints.j.signs: found .*three of 1 or -1"),
        ({"range": {"flexio": (0.0, 1.0)}}, "joints.j.range: found 'flexio'.*did you mean 'flexion'"),
        ({"stiffness": {"valgus": 0.1}}, "joints.j.stiffness: found 'valgus'"),
    ],
)
def test_a_wrong_joint_is_refused(changes, message):
    with pytest.raises(InputError, match=message):
        Joint("j", "a", "b", **changes)


@pytest.mark.parametrize(
    ("person", "message"),
    [
        ({"stature_m": 172.0}, "person.stature_m: found 172.0, expected 0.4 to 2.8 m"),
        ({"mass_kg": 0.0}, "person.mass_kg: found 0.0, expected 2.0 to 650.0 kg"),
        ({"sex": "f"}, "person.sex: found 'f'; expected one of female, male"),
    ],
)
def test_an_impossible_person_is_refused(person, message):
    with pytest.raises(InputError, match=message):
        Person(**person)


def test_shares_become_metres_and_kilograms():
    shares = {"length_of_stature": 0.25, "mass_of_body": {"male": 0.1, "female": 0.2}}
    segment = Segment("s", **shares, com_of_length=[0, -0.5, 0], gyration_of_length=[0.3, 0.1, 0.2])
    model = BodyModel("m", {"s": segment}, {})
    found = model.scaled(Person(1.6, 50.0, "female")).segments["s"]
    assert found.length == pytest.approx(0.4)
    assert found.mass == pytest.approx(10.0)
    np.testing.assert_allclose(found.com, [0, -0.2, 0])
    np.testing.assert_allclose(found.inertia, 10 * np.diag([0.12, 0.04, 0.08]) ** 2)
    assert model.scaled(Person(1.6, 50.0)).segments["s"].mass == pytest.approx(7.5)  # the mean of both


def test_numbers_in_metres_win_over_shares_and_scaling_twice_changes_nothing():
    segment = Segment("s", length=0.3, length_of_stature=0.25, mass_of_body=0.1)
    model = BodyModel("m", {"s": segment}, {}).scaled(Person(1.6, 50.0))
    again = model.scaled(Person(2.0, 100.0)).segments["s"]
    assert again.length == 0.3
    assert again.mass == pytest.approx(5.0)


def test_what_one_scaling_could_not_know_a_later_one_fills():
    model = BodyModel("m", {"s": Segment("s", length_of_stature=0.25, mass_of_body=0.1)}, {})
    found = model.scaled().scaled(Person(stature_m=1.6)).scaled(Person(1.9, 50.0)).segments["s"]
    assert found.length == pytest.approx(0.4)
    assert found.mass == pytest.approx(5.0)


@every_model
def test_without_a_person_nothing_is_known_in_metres(name):
    model = read_model(name).scaled()
    assert all(s.length is None and s.mass is None and s.com is None for s in model.segments.values())
    assert all(s.inertia is None for s in model.segments.values())
    assert all(j.centre_in_parent is None and j.centre_in_child is None for j in model.joints.values())
    assert from_joint_angles(model, np.zeros(2), {}).positions is None


@every_model
def test_stature_alone_gives_lengths_but_no_masses(name):
    model = read_model(name).scaled(Person(stature_m=1.75))
    assert all(s.length is not None and s.mass is None for s in model.segments.values())
    assert from_joint_angles(model, np.zeros(2), {}).positions is not None


def test_every_shipped_model_is_checked_here():
    assert model_names() == sorted(SHIPPED)


@every_model
def test_shipped_models_have_their_segments_and_neutral_within_every_range(name):
    model = read_model(name)
    assert model.name == name
    assert len(model.segments) == SHIPPED[name] == len(model.joints) + 1
    for joint in model.joints.values():
        for low, high in joint.range.values():
            assert low <= 0 <= high, joint.name


@every_model
def test_shipped_joints_follow_the_standard_angles(name):
    for joint in read_model(name).joints.values():
        assert standard_angles(joint.name) == (joint.sequence, joint.angles, joint.signs)


@every_model
def test_every_number_of_a_shipped_model_has_a_source(name):
    model = read_model(name)
    assert all(segment.source for segment in model.segments.values())
    assert all(joint.source for joint in model.joints.values())
    assert all(joint.range_source for joint in model.joints.values() if joint.range)


@every_model
def test_parts_of_the_body_say_the_same_as_the_whole(name):
    part, whole = read_model(name), read_model("whole_body")
    for kind in ("segments", "joints"):
        for key, value in getattr(part, kind).items():
            assert dataclasses.asdict(value) == dataclasses.asdict(getattr(whole, kind)[key])


def test_left_and_right_are_mirror_images():
    model = read_model("whole_body").scaled(PERSON)
    for name, joint in model.joints.items():
        if name.startswith("l_"):
            other = model.joints["r_" + name[2:]]
            np.testing.assert_allclose(joint.centre_in_parent, other.centre_in_parent * [1, 1, -1])
            assert joint.range == other.range
            assert joint.stiffness == other.stiffness


@every_model
def test_a_limb_ends_where_the_next_one_starts(name):
    model = read_model(name).scaled(PERSON)
    for joint in model.joints.values():
        if not joint.name.endswith(("shoulder", "hip")):
            reach = np.linalg.norm(joint.centre_in_parent)
            assert reach == pytest.approx(model.segments[joint.parent].length), joint.name


def test_pinocchio_has_the_body_masses_and_inertias():
    model = read_model("whole_body").scaled(PERSON)
    built = model.pinocchio()
    assert [name for name in built.names][2:] == list(model.joints)
    assert built.nq == 7 + 4 * len(model.joints)
    total = sum(inertia.mass for inertia in built.inertias)
    assert total == pytest.approx(70.0, rel=2.1e-4)
    thigh = built.inertias[built.getJointId("r_hip")]
    np.testing.assert_allclose(thigh.inertia, model.segments["r_thigh"].inertia, atol=1e-15)


def test_pinocchio_needs_joint_centres_and_axes():
    with pytest.raises(InputError, match=r"joints.ab: its centre is unknown, expected centre_in_parent"):
        chain(("a", "b")).pinocchio()
    with pytest.raises(InputError, match=r"joints.ab.axis: unknown"):
        chain(("a", "b"), type="hinge", centre_in_parent=np.zeros(3)).pinocchio()


def test_the_body_is_at_hand_without_the_heavy_libraries():
    code = (
        "import sys, bodyfit.body.chain, bodyfit.body.motion.poses, bodyfit.body.shapes; print(*sys.modules)"
    )
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split()
    assert not {"pinocchio", "trimesh", "casadi", "pandas"} & set(loaded)
