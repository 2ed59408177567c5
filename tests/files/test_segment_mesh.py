"""Shapes of segments: those that come with bodyfit are as trimesh makes them, and lie where they should."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh

from bodyfit.body.chain import BodyModel
from bodyfit.body.parts import Joint, Segment
from bodyfit.body.person import Person
from bodyfit.files.model.model_file import model_names, read_model
from bodyfit.files.plain.shipped import shipped_folder
from bodyfit.files.scene.segment_mesh import SHIPPED, Mesh, segment_mesh

ROOT = Path(__file__).parents[2]
PERSON = Person(stature_m=1.75)


def solid(mesh: Mesh) -> trimesh.Trimesh:
    """Corners that stand twice, for a crease, merged again."""
    shape = trimesh.Trimesh(mesh.vertices, mesh.faces)
    shape.merge_vertices(merge_norm=True)
    return shape


@pytest.mark.parametrize("name", model_names())
@pytest.mark.parametrize("person", [None, PERSON])
def test_shapes_are_small_closed_and_face_outwards(name, person):
    model = read_model(name).scaled(person)
    for segment in model.segments:
        mesh = segment_mesh(segment, model)
        shape = solid(mesh)
        assert len(shape.faces) < 200
        assert shape.is_watertight
        assert shape.volume > 0  # negative when faces look inwards
        outwards = np.cross(
            *(mesh.vertices[mesh.faces[:, i]] - mesh.vertices[mesh.faces[:, 0]] for i in (1, 2))
        )
        assert np.all(np.sum(outwards[:, None] * mesh.normals[mesh.faces], -1) > 0)


def test_shapes_have_the_size_of_the_segment():
    model = read_model("whole_body").scaled(PERSON)
    for name in ("r_thigh", "l_calf", "r_upperarm", "l_forearm", "r_hand"):
        low, high = solid(segment_mesh(name, model)).bounds
        length = model.segments[name].length
        assert low[1] == pytest.approx(-length, abs=0.1 * length)
        assert abs(high[1]) < 0.2 * length
    low, high = solid(segment_mesh("r_hindfoot", model)).bounds
    assert high[0] - low[0] == pytest.approx(model.segments["r_hindfoot"].length)
    assert low[1] == pytest.approx(-0.039 * 1.75, rel=0.01)  # the sole, Drillis & Contini's ankle height
    assert high[0] > -2 * low[0]  # the toes point forward


def test_a_bar_joins_the_joint_centres_of_a_plain_segment():
    centre = np.array([0.1, 0, 0])
    joints = {
        "ab": Joint("ab", "a", "b", centre_in_parent=centre, centre_in_child=-centre),
        "bc": Joint("bc", "b", "c", centre_in_parent=np.array([0.1, 0, 0.3])),
    }
    mesh = segment_mesh("b", BodyModel("chain", {name: Segment(name) for name in "abc"}, joints))
    start, end = -centre, np.array([0.1, 0, 0.3])
    along = (mesh.vertices - start) @ (end - start) / np.linalg.norm(end - start) ** 2
    radius = mesh.vertices - start - along[:, None] * (end - start)
    assert np.linalg.norm(radius, axis=1).max() == pytest.approx(0.1 * np.linalg.norm(end - start), rel=0.1)
    assert along.min() == pytest.approx(-0.1, abs=0.02)  # round ends, a tenth of the length
    np.testing.assert_allclose(solid(mesh).bounds.mean(axis=0), [0, 0, 0.15], atol=1e-9)


def test_the_shipped_shapes_are_those_that_the_script_makes():
    spec = importlib.util.spec_from_file_location("make_shapes", ROOT / "docs" / "make_shapes.py")
    assert spec is not None and spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    made = script.arrays()
    with np.load(shipped_folder("models") / SHIPPED) as shipped:
        assert set(shipped) == set(made)
        for name, values in made.items():
            np.testing.assert_allclose(shipped[name], values, atol=1e-12, err_msg=name)


def test_a_fit_is_written_without_libraries_that_it_does_not_need():
    code = (
        "import sys, bodyfit.fitting.fit, bodyfit.files.fit_folder, bodyfit.files.capture.folder\n"
        "from bodyfit.files.model.model_file import read_model\n"
        "from bodyfit.files.scene.segment_mesh import segment_mesh\n"
        "segment_mesh('r_thigh', read_model('whole_body'))\n"
        "print(*sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    unwanted = {"trimesh", "pandas", "casadi", "pyarrow.compute", "scipy.optimize", "scipy.interpolate"}
    assert not unwanted & set(done.stdout.split())
