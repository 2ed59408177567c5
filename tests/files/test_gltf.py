"""pose.glb, read back by other readers and held against the Khronos glTF 2.0 specification.

Section numbers are those of the "glTF 2.0 Specification", Khronos Group, version 2.0.1.
"""

from __future__ import annotations

import io
import json
import struct
from dataclasses import replace
from typing import Any

import numpy as np
import pygltflib
import pytest
import trimesh
from example_fit import chain, person, poses_of
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.parts import Joint, Segment
from bodyfit.core.colours import SIDES
from bodyfit.errors import InputError
from bodyfit.files.motion.pose_tables import read_segments, write_segments
from bodyfit.files.scene.gltf import write_pose

# glTF axes in ISB axes: glTF +X is left (ISB −Z), +Y up, +Z front (ISB +X); section 3.4
ISB_FROM_GLTF = np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]])
COMPONENTS = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}  # section 3.6.2.2
DTYPES = {5125: "<u4", 5126: "<f4"}  # section 3.6.2.2
TOLD = {"software": "bodyfit 9.9", "sensors": "wrist on hand (gyroscope)", "caution": "not a medical device"}
SINGLE = 2e-6  # what single-precision floats leave over half a dozen joints and a few metres


def written(poses: PoseSequence) -> bytes:
    file = io.BytesIO()
    write_pose(file, poses, TOLD)
    return file.getvalue()


def parsed(data: bytes) -> Any:
    return pygltflib.GLTF2.load_from_bytes(data)


def values(gltf: Any, index: int) -> np.ndarray:
    """An accessor's numbers, (count, components)."""
    accessor = gltf.accessors[index]
    view = gltf.bufferViews[accessor.bufferView]
    start = (view.byteOffset or 0) + (accessor.byteOffset or 0)
    width = COMPONENTS[accessor.type]
    flat = np.frombuffer(gltf.binary_blob(), DTYPES[accessor.componentType], accessor.count * width, start)
    return flat.reshape(accessor.count, width)


def node_poses(gltf: Any) -> tuple[np.ndarray, dict[int, np.ndarray]]:
    """Times and, per node, (K, 4, 4) world transforms at the key times: section 3.5.3 and 3.11."""
    animation = gltf.animations[0]
    times = values(gltf, animation.samplers[0].input)[:, 0]
    moving = {
        (channel.target.node, channel.target.path): values(gltf, animation.samplers[channel.sampler].output)
        for channel in animation.channels
    }
    transforms: dict[int, np.ndarray] = {}

    def visit(index: int, above: np.ndarray) -> None:
        node = gltf.nodes[index]
        local = np.tile(np.eye(4), (len(times), 1, 1))
        local[:, :3, 3] = moving.get((index, "translation"), node.translation or [0, 0, 0])
        quat = np.broadcast_to(
            moving.get((index, "rotation"), node.rotation or [0, 0, 0, 1]), (len(times), 4)
        )
        local[:, :3, :3] = Rotation.from_quat(quat).as_matrix()
        transforms[index] = above @ local
        for child in node.children or ():
            visit(child, transforms[index])

    for root in gltf.scenes[gltf.scene].nodes:
        visit(root, np.tile(np.eye(4), (len(times), 1, 1)))
    return times, transforms


def segment_poses(gltf: Any) -> tuple[np.ndarray, dict[str, np.ndarray], dict[str, Rotation]]:
    """Times, then origin (K, 3) and rotation per segment in ISB axes: of the nodes that hold meshes."""
    times, transforms = node_poses(gltf)
    origins, rotations = {}, {}
    for index, node in enumerate(gltf.nodes):
        if node.mesh is not None:
            name = gltf.meshes[node.mesh].name
            origins[name] = transforms[index][:, :3, 3] @ ISB_FROM_GLTF.T
            R = ISB_FROM_GLTF @ transforms[index][:, :3, :3] @ ISB_FROM_GLTF.T
            rotations[name] = Rotation.from_matrix(R)
    return times, origins, rotations


def angle_between(one: Rotation, other: Rotation) -> float:
    return float((one.inv() * other).magnitude().max())


def scene_of(data: bytes) -> Any:
    """The same file through trimesh's reader."""
    return trimesh.load(io.BytesIO(data), file_type="glb")


def rest_places(data: bytes) -> dict[str, np.ndarray]:
    """Where each segment's node sits without animation, by trimesh's reader: (3,) m, glTF axes."""
    scene = scene_of(data)
    return {node: scene.graph.get(node)[0][:3, 3] for node in scene.graph.nodes}


MODELS = {
    "whole body": person(),
    "right arm": person("right_arm"),
    "lower body": person("lower_body"),
    "chain": chain(),
}


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS)
def test_forward_kinematics_of_the_nodes_equals_segments_csv(model, tmp_path):
    poses = poses_of(model)
    with open(tmp_path / "segments.csv", "wb") as file:
        write_segments(file, poses.time, poses.rotations, poses.positions)
    table = read_segments(tmp_path / "segments.csv")
    times, origins, rotations = segment_poses(parsed(written(poses)))
    rows = np.searchsorted(table.time, times + table.time[0] - 1e-4)
    np.testing.assert_allclose(table.time[rows] - table.time[0], times, atol=1e-6)
    assert len(times) > 20 and set(rotations) == set(model.segments)
    for name in model.segments:
        np.testing.assert_allclose(origins[name], table.positions[name][rows], atol=SINGLE, err_msg=name)
        assert angle_between(rotations[name], table.rotations[name][rows]) < SINGLE


def test_unknown_centres_are_laid_out_and_said_so():
    poses = poses_of(chain(known=False))
    gltf = parsed(written(poses))
    _, origins, rotations = segment_poses(gltf)
    assert "first, second are unknown" in gltf.asset.extras["layout"]
    assert angle_between(rotations["c"], poses.rotations["c"][::4]) < SINGLE
    gap = np.linalg.norm(origins["b"] - origins["a"], axis=1)
    np.testing.assert_allclose(gap, 0.25, atol=SINGLE)
    assert "layout" not in parsed(written(poses_of(chain()))).asset.extras


def test_a_person_of_unknown_stature_still_looks_like_one():
    poses = poses_of(person(stature=None))
    assert poses.positions is None
    data = written(poses)
    x, y = ({name: place[axis] for name, place in rest_places(data).items()} for axis in (0, 1))
    assert y["skull"] > y["thorax"] > y["pelvis"] > y["l_calf"] > y["l_hindfoot"]
    assert x["l_thigh"] > 0 > x["r_thigh"]
    assert 1.3 < y["skull"] - y["l_hindfoot"] < 1.6  # m: from the ankles to the base of the skull
    assert "adult of 1.70 m" in parsed(data).asset.extras["layout"]


def test_body_stands_upright_facing_front_with_its_left_on_the_left():
    # section 3.4: +Y up, +Z forward, −X right. Walking ahead (ISB +X) moves the root along +Z.
    poses = poses_of(person())
    poses = replace(poses, rotations={name: Rotation.identity(101) for name in poses.rotations})
    gltf = parsed(written(poses))
    animation = gltf.animations[0]
    path = [c for c in animation.channels if c.target.path == "translation"]
    steps = values(gltf, animation.samplers[path[0].sampler].output)
    np.testing.assert_allclose(steps[-1] - steps[0], [1.0, 0, 2.0], atol=1e-6)
    for channel in animation.channels:
        if channel.target.path == "rotation":
            quat = values(gltf, animation.samplers[channel.sampler].output)
            np.testing.assert_array_equal(quat, np.tile([0, 0, 0, 1], (len(quat), 1)))
    place = rest_places(written(poses))
    assert place["l_shoulder"][0] > place["vl5"][0] > place["r_shoulder"][0]
    feet = scene_of(written(poses)).geometry["l_hindfoot"].vertices
    assert feet[:, 2].max() > -2 * feet[:, 2].min() > 0  # toes to the front, a shorter heel behind


def test_nodes_bear_the_names_of_the_standard():
    # ISO/IEC 19774-1, level of articulation 1; joints as nodes, each holding its segment
    def joints(name: str) -> list[str]:
        gltf = parsed(written(poses_of(person(name))))
        return [gltf.nodes[0].name, *(n.name for n in gltf.nodes[1:] if n.mesh is None)]

    leg = ["hip", "knee", "talocrural"]
    assert joints("lower_body")[0] == "humanoid_root"
    assert sorted(joints("lower_body")[1:]) == sorted(f"{side}_{name}" for side in "lr" for name in leg)
    assert {"vl5", "skullbase", "l_shoulder", "r_elbow", "l_radiocarpal"} < set(joints("whole_body"))
    assert joints("right_arm")[0] == "thorax"


def test_a_joint_that_bears_the_name_of_its_segment_is_no_trouble():
    joint = Joint(
        "b", "a", "b", centre_in_parent=np.array([0, -0.3, 0]), centre_in_child=np.array([0.1, 0, 0])
    )
    poses = poses_of(BodyModel("pair", {"a": Segment("a"), "b": Segment("b")}, {"b": joint}))
    assert poses.positions is not None
    _, origins, rotations = segment_poses(parsed(written(poses)))
    np.testing.assert_allclose(origins["b"], poses.positions["b"][::4], atol=SINGLE)
    assert angle_between(rotations["b"], poses.rotations["b"][::4]) < SINGLE


@pytest.mark.parametrize(("rate", "kept"), [(100.0, 25.0), (60.0, 30.0), (25.0, 25.0), (286.0, 28.6)])
def test_motion_is_thinned_to_at_most_30_frames_a_second(rate, kept):
    times, _ = node_poses(parsed(written(poses_of(chain(), count=300, rate=rate))))
    np.testing.assert_allclose(np.diff(times), 1 / kept, atol=1e-5)


def test_times_start_at_zero_whatever_the_clock():
    gltf = parsed(written(poses_of(chain(), start=1.7e9)))
    times, _ = node_poses(gltf)
    assert times[0] == 0 and gltf.asset.extras["start_time_s"] == 1.7e9
    np.testing.assert_allclose(np.diff(times), 0.04, atol=1e-6)


def test_one_frame_is_enough():
    times, origins, _ = segment_poses(parsed(written(poses_of(chain(), count=1))))
    assert len(times) == 1 and origins["c"].shape == (1, 3)


def test_root_without_a_path_has_no_translation_channel():
    poses = replace(poses_of(chain()), root_position=None)
    paths = [channel.target.path for channel in parsed(written(poses)).animations[0].channels]
    assert paths == ["rotation"] * 3


def test_container_is_laid_out_as_section_4_4_says():
    data = written(poses_of(person()))
    magic, version, length = struct.unpack_from("<III", data)
    assert (magic, version, length) == (0x46546C67, 2, len(data))  # 4.4.2
    size, kind = struct.unpack_from("<II", data, 12)
    assert kind == 0x4E4F534A and size % 4 == 0  # 4.4.3.1, 4.4.3.2
    tree = json.loads(data[20 : 20 + size])
    binary, kind = struct.unpack_from("<II", data, 20 + size)
    assert kind == 0x004E4942 and binary % 4 == 0  # 4.4.3.3
    assert 28 + size + binary == len(data)
    assert 0 <= binary - tree["buffers"][0]["byteLength"] <= 3 and "uri" not in tree["buffers"][0]  # 3.6.1.2
    assert tree["asset"]["version"] == "2.0"  # 3.2


def test_accessors_keep_the_rules_of_section_3_6_2():
    gltf = parsed(written(poses_of(person())))
    inputs = {sampler.input for sampler in gltf.animations[0].samplers}
    positions = {mesh.primitives[0].attributes.POSITION for mesh in gltf.meshes}
    for index, accessor in enumerate(gltf.accessors):
        view = gltf.bufferViews[accessor.bufferView]
        size = np.dtype(DTYPES[accessor.componentType]).itemsize
        offset = accessor.byteOffset or 0
        assert offset % size == 0 and (offset + (view.byteOffset or 0)) % size == 0  # 3.6.2.4
        assert offset + accessor.count * size * COMPONENTS[accessor.type] <= view.byteLength
        assert (view.byteOffset or 0) + view.byteLength <= gltf.buffers[0].byteLength
        assert np.isfinite(values(gltf, index)).all()  # 3.6.2.2
        if index in inputs | positions:  # 3.6.2.5: bounds are there and match what is stored
            np.testing.assert_array_equal(np.float32(accessor.min), values(gltf, index).min(axis=0))
            np.testing.assert_array_equal(np.float32(accessor.max), values(gltf, index).max(axis=0))


def test_meshes_keep_the_rules_of_section_3_7_2():
    gltf = parsed(written(poses_of(person())))
    for mesh in gltf.meshes:
        primitive = mesh.primitives[0]
        corners = values(gltf, primitive.attributes.POSITION)
        normals = values(gltf, primitive.attributes.NORMAL)
        indices = values(gltf, primitive.indices)[:, 0]
        assert len(corners) == len(normals) and indices.max() < len(corners)
        assert len(indices) % 3 == 0 and len(indices)
        np.testing.assert_allclose(np.linalg.norm(normals, axis=1), 1, atol=1e-5)
        a, b, c = corners[indices.reshape(-1, 3)].transpose(1, 0, 2)
        outward = np.cross(b - a, c - a)  # counter-clockwise triangles face outwards, 3.7.2.1
        assert 0 < np.sum(a * outward) / 6 < 0.1  # m³, signed
        views = [
            gltf.accessors[primitive.attributes.POSITION].bufferView,
            gltf.accessors[primitive.indices].bufferView,
        ]
        assert [gltf.bufferViews[view].target for view in views] == [34962, 34963]  # 3.6.1.1


def test_nodes_and_animation_keep_the_rules_of_sections_3_5_and_3_11():
    gltf = parsed(written(poses_of(person())))
    children = [child for node in gltf.nodes for child in node.children or ()]
    assert len(children) == len(set(children)) == len(gltf.nodes) - 1  # 3.5.2: a tree
    assert gltf.scenes[0].nodes == [0] and 0 not in children  # 3.5.1
    targets = [(channel.target.node, channel.target.path) for channel in gltf.animations[0].channels]
    assert len(targets) == len(set(targets)) == 16  # fifteen rotations and the root's path
    for channel in gltf.animations[0].channels:
        sampler = gltf.animations[0].samplers[channel.sampler]
        times, output = values(gltf, sampler.input)[:, 0], values(gltf, sampler.output)
        assert gltf.nodes[channel.target.node].matrix is None  # 3.5.3
        assert times[0] >= 0 and np.all(np.diff(times) > 0) and len(times) == len(output)
        if channel.target.path == "rotation":
            np.testing.assert_allclose(np.linalg.norm(output, axis=1), 1, atol=1e-6)
            assert np.all(np.sum(output[1:] * output[:-1], axis=1) > 0)  # neighbours on one side: no long way


def test_left_and_right_differ_in_lightness_not_only_in_hue():
    # relative luminance and contrast ratio: W3C WCAG 2.1; 1.4.11 asks 3:1 between things to be told apart
    def luminance(colour: list[float]) -> float:
        return float(np.dot(colour[:3], [0.2126, 0.7152, 0.0722]))

    gltf = parsed(written(poses_of(person())))
    named = {
        material.name: luminance(material.pbrMetallicRoughness.baseColorFactor) for material in gltf.materials
    }
    assert (named["left"] + 0.05) / (named["right"] + 0.05) > 3
    assert named["left"] > 1.4 * named["middle"] > 1.4 * 1.4 * named["right"]
    assert all(0 <= part <= 1 for m in gltf.materials for part in m.pbrMetallicRoughness.baseColorFactor)
    used = {mesh.name: gltf.materials[mesh.primitives[0].material].name for mesh in gltf.meshes}
    assert (used["l_thigh"], used["r_hand"], used["pelvis"]) == ("left", "right", "middle")
    assert list(SIDES) == list(named)


def test_another_reader_finds_every_mesh():
    scene = scene_of(written(poses_of(person())))
    assert set(scene.geometry) == set(person().segments)
    assert 1.2 < scene.extents[1] < 2.2  # m: about the stature, in the rest pose


# ---- a mesh of one's own ----


def with_mesh(path) -> PoseSequence:
    model = chain()
    name = list(model.segments)[1]
    segments = {**model.segments, name: replace(model.segments[name], mesh=str(path))}
    return poses_of(BodyModel(model.name, segments, model.joints))


def test_a_mesh_file_takes_the_place_of_the_simple_shape(tmp_path):
    """An icosahedron sphere of 0.37 m radius (trimesh writes and reads it) keeps its size in the scene."""
    path = tmp_path / "ball.stl"
    trimesh.creation.icosphere(subdivisions=1, radius=0.37).export(path)
    gltf = parsed(written(with_mesh(path)))
    name = list(chain().segments)[1]
    mesh = next(mesh for mesh in gltf.meshes if mesh.name == name)
    corners = values(gltf, mesh.primitives[0].attributes.POSITION)
    np.testing.assert_allclose(np.linalg.norm(corners, axis=1), 0.37, rtol=1e-6)


@pytest.mark.parametrize("content", [b"not a mesh", b""])
def test_a_mesh_file_that_is_none_is_named(tmp_path, content):
    path = tmp_path / "ball.stl"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"segments\..*\.mesh: .*ball\.stl"):
        written(with_mesh(path))


def test_the_scene_says_what_made_it_and_what_it_must_not_be_used_for():
    extras = parsed(written(poses_of(chain()))).asset.extras
    assert {key: extras[key] for key in TOLD} == TOLD
    assert "+Z forward" in extras["frames"]  # glTF's axes, not those of the tables
