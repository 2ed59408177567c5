"""Body models read from TOML, the ones that come along and others, and written back."""

from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.body.anatomy import standard_angles
from bodyfit.body.chain import BodyModel
from bodyfit.body.parts import Joint, Segment
from bodyfit.body.person import Person
from bodyfit.files.model.model_file import model_names, models_folder, read_model, write_model
from bodyfit.files.plain import shipped

CHAIN = """
name = "chain"
source = "invented"

[segments.first]
length_m = 0.2
mass_kg = 0.5
com_m = [0.1, 0.0, 0.0]
inertia_kgm2 = [0.001, 0.002, 0.002]
source = "scales and ruler"
[segments.second]
inertia_kgm2 = [[0.002, 0.0001, 0], [0.0001, 0.002, 0], [0, 0, 0.003]]
mesh = "second.stl"
[segments.third]
length_of_stature = { male = 0.24, female = 0.21, source = "a table" }
mass_of_body = 0.1
com_of_length = [0, -0.4, 0]
gyration_of_length = { male = [0.3, 0.1, 0.3], female = [0.4, 0.2, 0.4] }

[joints.outer]
parent = "second"
child = "third"
centre_in_parent_of_stature = [0, -0.24, 0]
centre_in_child_of_stature = { male = [0, 0.01, 0], female = [0, 0.02, 0] }
sequence = "YXY"
angles = ["plane", "elevation", "twist"]
signs = [1, -1, 1]
range_deg = { elevation = [0, 170], twist = [-90, 45.5], source = "another table" }
range_source = "goniometer"
stiffness = { plane = 3.0 }
source = "invented"

[joints.inner]
parent = "first"
child = "second"
type = "hinge"
axis = [0.0, 3.0, 4.0]
centre_in_parent_m = [0.2, 0.0, 0.0]
centre_in_child_m = [-0.1, 0.0, 0.0]
"""


@pytest.fixture
def chain(tmp_path) -> BodyModel:
    (tmp_path / "chain.toml").write_text(CHAIN)
    (tmp_path / "second.stl").write_text("solid second\nendsolid second\n")
    return read_model("chain.toml", tmp_path)


def test_every_key_of_a_segment_is_read(chain, tmp_path):
    first, second, third = chain.segments.values()
    assert (chain.name, chain.source, chain.root) == ("chain", "invented", "first")
    assert (first.name, first.length, first.mass, first.source) == ("first", 0.2, 0.5, "scales and ruler")
    np.testing.assert_array_equal(first.com, [0.1, 0, 0])
    np.testing.assert_array_equal(first.inertia, np.diag([0.001, 0.002, 0.002]))
    np.testing.assert_array_equal(second.inertia, [[0.002, 0.0001, 0], [0.0001, 0.002, 0], [0, 0, 0.003]])
    assert second.mesh == str(tmp_path / "second.stl")
    assert (second.length, second.mass, second.com) == (None, None, None)
    assert third.length_of_stature["female"] == 0.21
    assert third.mass_of_body == 0.1
    assert third.com_of_length == [0, -0.4, 0]
    assert third.gyration_of_length["male"] == [0.3, 0.1, 0.3]


def test_every_key_of_a_joint_is_read(chain):
    assert list(chain.joints) == ["inner", "outer"]  # from the root outwards
    inner, outer = chain.joints.values()
    assert (inner.parent, inner.child, inner.type) == ("first", "second", "hinge")
    np.testing.assert_allclose(inner.axis, [0, 0.6, 0.8])
    np.testing.assert_array_equal(inner.centre_in_parent, [0.2, 0, 0])
    np.testing.assert_array_equal(inner.centre_in_child, [-0.1, 0, 0])
    assert (outer.type, outer.axis, outer.centre_in_parent) == ("ball", None, None)
    assert (outer.sequence, outer.signs) == ("YXY", (1, -1, 1))
    assert outer.angles == ("plane", "elevation", "twist")
    assert outer.range == {
        "elevation": (0.0, pytest.approx(170 * np.pi / 180)),
        "twist": (pytest.approx(-np.pi / 2), pytest.approx(45.5 * np.pi / 180)),
    }
    assert outer.stiffness == {"plane": pytest.approx(np.pi / 60)}
    assert (outer.source, outer.range_source) == ("invented", "goniometer")
    assert outer.centre_in_parent_of_stature == [0, -0.24, 0]
    assert outer.centre_in_child_of_stature["female"] == [0, 0.02, 0]


def test_shares_as_read_scale_to_a_person(chain):
    third = chain.scaled(Person(2.0, 50.0, "male")).segments["third"]
    assert third.length == pytest.approx(0.48)
    assert third.mass == pytest.approx(5.0)
    np.testing.assert_allclose(third.com, [0, -0.192, 0])
    np.testing.assert_allclose(np.diag(third.inertia), 5 * (0.48 * np.array([0.3, 0.1, 0.3])) ** 2)


def assert_same(a: BodyModel, b: BodyModel) -> None:
    assert (a.name, a.source, list(a.segments), list(a.joints)) == (
        b.name,
        b.source,
        list(b.segments),
        list(b.joints),
    )
    pairs = [(a.segments[n], b.segments[n]) for n in a.segments] + [
        (a.joints[n], b.joints[n]) for n in a.joints
    ]
    for one, other in pairs:
        for field in dataclasses.fields(one):
            x, y = getattr(one, field.name), getattr(other, field.name)
            if isinstance(x, np.ndarray):
                np.testing.assert_allclose(x, y, rtol=1e-15, err_msg=f"{one.name}.{field.name}")
            elif field.name in ("range", "stiffness"):
                assert set(x) == set(y)
                for angle in x:
                    np.testing.assert_allclose(x[angle], y[angle], rtol=1e-13)
            else:
                assert x == y, f"{one.name}.{field.name}"


def test_written_model_is_read_back(chain, tmp_path):
    (tmp_path / "sub").mkdir()
    write_model(chain, tmp_path / "sub" / "again.toml")
    again = read_model("again.toml", tmp_path / "sub")
    mesh = again.segments["second"].mesh
    assert mesh is not None
    segments = {
        **again.segments,
        "second": dataclasses.replace(again.segments["second"], mesh=chain.segments["second"].mesh),
    }
    assert_same(chain, dataclasses.replace(again, segments=segments))
    assert Path(mesh).samefile(tmp_path / "second.stl")


@pytest.mark.parametrize("name", model_names())
def test_model_that_comes_along_is_read_and_written_back(tmp_path, name):
    model = read_model(name)
    assert model.name == name
    write_model(model, tmp_path / "again.toml")
    assert_same(model, read_model(tmp_path / "again.toml"))


def test_arms_legs_and_bodies_come_along():
    # right and left arm, right and left leg, lower body, upper body, whole body
    expected = {"right_arm", "left_arm", "right_leg", "left_leg", "lower_body", "upper_body", "whole_body"}
    expected |= {f"{side}_{joint}" for side in ("right", "left") for joint in ("knee", "elbow", "ankle")}
    assert expected <= set(model_names())
    assert all((models_folder() / f"{name}.toml").is_file() for name in expected)


def test_degrees_are_written_without_rounding_noise(tmp_path):
    joint = Joint("j", "a", "b", range={"flexion": (np.deg2rad(-5.4), np.deg2rad(152.6))})
    write_model(BodyModel("m", {"a": Segment("a"), "b": Segment("b")}, {"j": joint}), tmp_path / "m.toml")
    assert tomllib.loads((tmp_path / "m.toml").read_text())["joints"]["j"]["range_deg"]["flexion"] == [
        -5.4,
        152.6,
    ]


def joint_of(tmp_path, name: str, lines: str = "") -> Joint:
    text = f'[segments.a]\n[segments.b]\n[joints.{name}]\nparent = "a"\nchild = "b"\n{lines}\n'
    (tmp_path / "m.toml").write_text(text)
    return read_model(tmp_path / "m.toml").joints[name]


@pytest.mark.parametrize("name", ["l_knee", "r_hip", "r_shoulder", "l_elbow", "vl5", "l_talocrural"])
def test_standard_joint_without_a_sequence_takes_the_standard_angles(tmp_path, name):
    joint = joint_of(tmp_path, name)
    assert (joint.sequence, joint.angles, joint.signs) == standard_angles(name)


def test_left_knee_flexes_about_minus_z_and_its_other_angles_are_mirrored(tmp_path):
    # Grood & Suntay 1983 as Cardan Z-X-Y, flexion = -Z; right knee at 60, 5, 10 degrees, computed once apart
    right, left = joint_of(tmp_path, "r_knee"), joint_of(tmp_path, "l_knee")
    for joint, mirror in ((right, 1), (left, -1)):
        reported = np.deg2rad([60, 5, 10])
        quat = Rotation.from_euler(joint.sequence, reported * joint.signs).as_quat()
        expected = np.array([0.081168 * mirror, 0.053681 * mirror, -0.494331, 0.863810])
        np.testing.assert_allclose(quat, expected, atol=1e-6)


def test_other_joint_without_a_sequence_takes_plain_signs(tmp_path):
    joint = joint_of(tmp_path, "joint_1")
    assert joint.sequence == "ZXY"
    assert joint.angles == ("flexion", "adduction", "internal_rotation")
    assert joint.signs == (1, 1, 1)


def test_what_is_given_wins_over_the_standard(tmp_path):
    assert joint_of(tmp_path, "l_knee", "signs = [1, 1, 1]").signs == (1, 1, 1)
    joint = joint_of(tmp_path, "l_knee", 'sequence = "XYZ"\nangles = ["a", "b", "c"]')
    assert (joint.sequence, joint.angles, joint.signs) == ("XYZ", ("a", "b", "c"), (1, 1, 1))
    joint = joint_of(tmp_path, "l_knee", 'angles = ["a", "b", "c"]')
    assert (joint.sequence, joint.angles, joint.signs) == ("ZXY", ("a", "b", "c"), (-1, -1, -1))


def test_name_of_a_model_without_one_is_that_of_its_file(tmp_path):
    (tmp_path / "single.toml").write_text("[segments.segment]\n")
    model = read_model(str(tmp_path / "single.toml"))
    assert (model.name, model.root, dict(model.joints), model.source) == ("single", "segment", {}, "")


def test_models_inside_an_installed_package_come_first(tmp_path, monkeypatch):
    for folder in ("site/bodyfit/models", "site/models"):
        (tmp_path / folder).mkdir(parents=True)
    monkeypatch.setattr(shipped, "files", lambda package: tmp_path / "site" / package)
    assert models_folder() == tmp_path / "site/bodyfit/models"
    (tmp_path / "site/bodyfit/models").rmdir()
    assert models_folder() == tmp_path / "site/models"
