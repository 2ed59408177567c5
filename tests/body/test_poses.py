"""Joint angles, positions and centre of mass: by geometry, and against pinocchio and mujoco."""

# numbers that may be unknown (None) are known in these models
# pyright: reportOptionalSubscript=false, reportOperatorIssue=false, reportCallIssue=false, reportArgumentType=false

import itertools

import numpy as np
import pytest
from pinocchio_poses import through_pinocchio
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.joint_angles import angles_from_matrix, joint_angles, rotation_from_angles
from bodyfit.body.motion.poses import PoseSequence, from_joint_angles
from bodyfit.body.parts import SEQUENCES, Joint, Segment
from bodyfit.body.person import Person
from bodyfit.errors import InputError
from bodyfit.files.model.model_file import read_model

BODY = read_model("whole_body").scaled(Person(1.75, 70.0, "male"))
X, Y, Z = range(3)  # forward, up, right
OUTWARD = {"l": -1.0, "r": 1.0}
both_sides = pytest.mark.parametrize("side", ["l", "r"])


def pose(**angles_deg):
    """One pose; r_knee=dict(flexion=60) in degrees."""
    angles = {j: {a: np.deg2rad(v) for a, v in named.items()} for j, named in angles_deg.items()}
    return from_joint_angles(BODY, np.zeros(1), angles)


def moved(segment, point=(0.0, 0.0, 0.0), **angles_deg):
    """How far a point of a segment moves from the neutral pose, (3,) m."""
    at = [p.positions[segment][0] + p.matrices[segment][0] @ point for p in (pose(), pose(**angles_deg))]
    return at[1] - at[0]


# --- signs, by where things go


def test_neutral_is_the_identity_with_hanging_arms_and_level_sides():
    neutral = pose()
    assert all(np.allclose(R, np.eye(3)) for R in neutral.matrices.values())
    for side in "lr":
        heights = [neutral.positions[f"{side}_{s}"][0, Y] for s in ("upperarm", "forearm", "hand")]
        assert heights == sorted(heights, reverse=True)
        assert neutral.positions[f"{side}_hand"][0, Z] * OUTWARD[side] > 0.1
    assert neutral.positions["skull"][0, Y] > neutral.positions["thorax"][0, Y] > 0


@both_sides
def test_knee_flexion_moves_the_foot_back_and_up(side):
    shift = moved(f"{side}_hindfoot", **{f"{side}_knee": {"flexion": 60}})
    assert shift[X] < -0.1
    assert shift[Y] > 0.1
    assert abs(shift[Z]) < 1e-12


@both_sides
def test_knee_adduction_moves_the_foot_towards_the_middle(side):
    shift = moved(f"{side}_hindfoot", **{f"{side}_knee": {"adduction": 10}})
    assert shift[Z] * OUTWARD[side] < -0.05


@both_sides
def test_knee_and_hip_internal_rotation_turn_the_toes_in(side):
    for joint in ("knee", "hip"):
        shift = moved(f"{side}_hindfoot", (0.2, 0, 0), **{f"{side}_{joint}": {"internal_rotation": 20}})
        assert shift[Z] * OUTWARD[side] < -0.05


@both_sides
def test_hip_flexion_moves_the_knee_forward_and_up(side):
    shift = moved(f"{side}_calf", **{f"{side}_hip": {"flexion": 45}})
    assert shift[X] > 0.2
    assert shift[Y] > 0.1


@both_sides
def test_hip_adduction_moves_the_knee_towards_the_middle(side):
    shift = moved(f"{side}_calf", **{f"{side}_hip": {"adduction": 20}})
    assert shift[Z] * OUTWARD[side] < -0.1


@both_sides
def test_dorsiflexion_lifts_the_toes(side):
    assert moved(f"{side}_hindfoot", (0.2, 0, 0), **{f"{side}_talocrural": {"dorsiflexion": 20}})[Y] > 0.05


@both_sides
def test_inversion_turns_the_sole_inwards(side):
    turned = pose(**{f"{side}_talocrural": {"inversion": 20}}).matrices[f"{side}_hindfoot"][0]
    sole_normal = turned @ [0, -1, 0]
    assert sole_normal[Z] * OUTWARD[side] < -0.3


@both_sides
def test_ankle_internal_rotation_turns_the_toes_in(side):
    shift = moved(f"{side}_hindfoot", (0.2, 0, 0), **{f"{side}_talocrural": {"internal_rotation": 20}})
    assert shift[Z] * OUTWARD[side] < -0.05


@both_sides
def test_elbow_flexion_moves_the_hand_forward_and_up(side):
    shift = moved(f"{side}_hand", **{f"{side}_elbow": {"flexion": 90}})
    assert shift[X] > 0.2
    assert shift[Y] > 0.2


@both_sides
def test_carrying_angle_below_zero_moves_the_hand_outwards(side):
    shift = moved(f"{side}_hand", **{f"{side}_elbow": {"carrying_angle": -10}})
    assert shift[Z] * OUTWARD[side] > 0.02


@both_sides
def test_pronation_turns_the_palm_from_forward_to_the_thigh_then_back(side):
    def palm(pronation):
        return pose(**{f"{side}_elbow": {"pronation": pronation}}).matrices[f"{side}_hand"][0][:, X]

    np.testing.assert_allclose(palm(0), [1, 0, 0], atol=1e-12)
    np.testing.assert_allclose(palm(90), [0, 0, -OUTWARD[side]], atol=1e-12)
    np.testing.assert_allclose(palm(180), [-1, 0, 0], atol=1e-12)


@both_sides
def test_wrist_flexion_moves_the_fingers_to_the_palm_side(side):
    assert moved(f"{side}_hand", (0, -0.15, 0), **{f"{side}_radiocarpal": {"flexion": 40}})[X] > 0.05


@both_sides
def test_ulnar_deviation_moves_the_fingers_to_the_little_finger_side(side):
    # palms forward, the little finger is next to the thigh
    shift = moved(f"{side}_hand", (0, -0.15, 0), **{f"{side}_radiocarpal": {"ulnar_deviation": 20}})
    assert shift[Z] * OUTWARD[side] < -0.03


@both_sides
def test_elevation_in_plane_0_is_abduction_and_in_plane_90_forward_flexion(side):
    aside = moved(f"{side}_forearm", **{f"{side}_shoulder": {"plane_of_elevation": 0, "elevation": -90}})
    ahead = moved(f"{side}_forearm", **{f"{side}_shoulder": {"plane_of_elevation": 90, "elevation": -90}})
    length = BODY.segments[f"{side}_upperarm"].length
    np.testing.assert_allclose(aside, [0, length, OUTWARD[side] * length], atol=1e-12)
    np.testing.assert_allclose(ahead, [length, length, 0], atol=1e-12)


@both_sides
def test_shoulder_axial_rotation_brings_the_bent_forearm_inwards(side):
    bent = {f"{side}_elbow": {"flexion": 90}}
    turned = pose(**bent, **{f"{side}_shoulder": {"axial_rotation": 45}}).positions[f"{side}_hand"][0]
    straight = pose(**bent).positions[f"{side}_hand"][0]
    assert (turned - straight)[Z] * OUTWARD[side] < -0.1


@pytest.mark.parametrize(("joint", "segment"), [("vl5", "thorax"), ("skullbase", "skull")])
def test_trunk_and_neck_bend_forward_right_and_turn_left(joint, segment):
    assert moved(segment, (0, 0.2, 0), **{joint: {"flexion": 30}})[X] > 0.05
    assert moved(segment, (0, 0.2, 0), **{joint: {"lateral_bend": 30}})[Z] > 0.05
    assert moved(segment, (0.2, 0, 0), **{joint: {"axial_rotation": 30}})[Z] < -0.05


def random_angles(count, rng):
    """Within the ranges, ±0.5 rad where there is none; shoulders away from the gimbal."""
    angles = {}
    for name, joint in BODY.joints.items():
        bounds = {a: joint.range.get(a, (-0.5, 0.5)) for a in joint.angles}
        if "elevation" in bounds:
            bounds["elevation"] = (-3.0, -0.1)
        angles[name] = {a: rng.uniform(low, high, count) for a, (low, high) in bounds.items()}
    return angles


def test_the_same_angles_left_and_right_make_mirror_images():
    angles = random_angles(50, np.random.default_rng(1))
    for name in list(angles):
        if name.startswith("l_"):
            angles[name] = angles["r_" + name[2:]]
        elif not name.startswith("r_"):
            angles[name] = {a: v for a, v in angles[name].items() if a == "flexion"}
    positions = from_joint_angles(BODY, np.arange(50.0), angles).positions
    for name in BODY.segments:
        if name.startswith("l_"):
            mirrored = positions["r_" + name[2:]] * [1, 1, -1]
            np.testing.assert_allclose(positions[name], mirrored, atol=1e-12)


# --- angles


def test_joint_angles_are_those_that_the_pose_was_made_of():
    angles = random_angles(200, np.random.default_rng(2))
    found = from_joint_angles(BODY, np.arange(200.0), angles).joint_angles
    for joint, angle in ((j, a) for j in angles for a in angles[j]):
        np.testing.assert_allclose(
            found[joint][angle], angles[joint][angle], atol=1e-9, err_msg=f"{joint} {angle}"
        )


@pytest.mark.parametrize("sequence", SEQUENCES)
def test_every_sequence_gives_back_the_rotation(sequence):
    R = Rotation.random(300, rng=np.random.default_rng(3)).as_matrix()
    for sign in (1, -1):
        angles = angles_from_matrix(R, sequence, sign)
        np.testing.assert_allclose(Rotation.from_euler(sequence, angles).as_matrix(), R, atol=1e-12)
        if sequence[0] == sequence[2]:
            assert np.all(sign * angles[:, 1] >= 0)


@pytest.mark.parametrize("sequence", SEQUENCES)
@pytest.mark.parametrize("near", [0.0, 1e-12, -1e-9, 1e-7])
def test_gimbal_poses_give_finite_angles_and_the_same_rotation(sequence, near):
    middles = (0.0, np.pi) if sequence[0] == sequence[2] else (np.pi / 2, -np.pi / 2)
    for middle, first in itertools.product(middles, (0.0, 0.4, -2.5)):
        R = Rotation.from_euler(sequence, [first, middle + near, 0.7]).as_matrix()
        angles = angles_from_matrix(R[None], sequence)
        assert np.all(np.isfinite(angles))
        np.testing.assert_allclose(Rotation.from_euler(sequence, angles[0]).as_matrix(), R, atol=2e-9)


def test_exact_gimbal_puts_the_whole_turn_into_one_angle():
    abducted_hip = Joint("hip", "a", "b")
    R = Rotation.from_euler("ZXY", [0.3, np.pi / 2, 0.4]).as_matrix()
    found = joint_angles(abducted_hip, R)
    assert found["internal_rotation"] == pytest.approx(0, abs=1e-15)
    assert found["flexion"] == pytest.approx(0.7)


def test_angles_of_one_rotation_and_of_many_agree():
    R = Rotation.random(4, rng=np.random.default_rng(4)).as_matrix()
    batch = angles_from_matrix(R.reshape(2, 2, 3, 3), "YXY")
    np.testing.assert_array_equal(batch.reshape(4, 3)[2], angles_from_matrix(R[2], "YXY"))


def test_a_turned_world_changes_no_joint_angle():
    poses = from_joint_angles(BODY, np.arange(20.0), random_angles(20, np.random.default_rng(5)))
    turn = Rotation.random(rng=np.random.default_rng(6))
    turned = PoseSequence(poses.time, {n: turn * R for n, R in poses.rotations.items()}, BODY)
    for joint, named in poses.joint_angles.items():
        for angle, values in named.items():
            np.testing.assert_allclose(turned.joint_angles[joint][angle], values, atol=1e-9)
    np.testing.assert_allclose(turned.positions["skull"], turn.apply(poses.positions["skull"]), atol=1e-12)
    np.testing.assert_allclose(turned.centre_of_mass(), turn.apply(poses.centre_of_mass()), atol=1e-12)


# --- kinematics


def mixed_tree(rng):
    """A tree with every joint type, no joint at a segment's origin."""
    axis = np.array([0.6, 0.0, 0.8])
    kinds = [
        ("a", "b", "hinge"),
        ("b", "c", "universal"),
        ("b", "d", "ball"),
        ("d", "e", "fixed"),
        ("e", "f", "hinge"),
    ]
    joints = {
        a + b: Joint(
            a + b,
            a,
            b,
            type=kind,
            axis=axis if kind == "hinge" else None,
            centre_in_parent=rng.normal(size=3),
            centre_in_child=rng.normal(size=3),
        )
        for a, b, kind in kinds
    }
    segments = {
        n: Segment(n, mass=rng.uniform(1, 5), com=rng.normal(size=3), inertia=np.eye(3)) for n in "abcdef"
    }
    return BodyModel("tree", segments, joints)


def random_motion(model, count, rng):
    """Rotations that every joint's type allows, and a wandering root."""
    rotations = {model.root: Rotation.random(count, rng=rng)}
    for joint in model.joints.values():
        free = {
            "hinge": lambda j: Rotation.from_rotvec(rng.uniform(-3, 3, (count, 1)) * j.axis),
            "universal": lambda j: Rotation.from_euler(j.sequence[:2], rng.uniform(-1.5, 1.5, (count, 2))),
            "ball": lambda j: Rotation.random(count, rng=rng),
            "fixed": lambda j: Rotation.identity(count),
        }
        rotations[joint.child] = rotations[joint.parent] * free[joint.type](joint)
    return PoseSequence(np.arange(float(count)), rotations, model, rng.normal(size=(count, 3)))


MOTIONS = {
    "mixed tree": lambda: random_motion(mixed_tree(np.random.default_rng(7)), 25, np.random.default_rng(8)),
    "whole body": lambda: random_motion(BODY, 25, np.random.default_rng(9)),
}
both_motions = pytest.mark.parametrize("motion", MOTIONS)


@both_motions
def test_kinematics_and_centre_of_mass_equal_those_of_pinocchio(motion):
    poses = MOTIONS[motion]()
    positions, rotations, com = through_pinocchio(poses)
    for name in poses.model.segments:
        np.testing.assert_allclose(poses.positions[name], positions[name], atol=1e-12, err_msg=name)
        np.testing.assert_allclose(
            poses.matrices[name], rotations[name].as_matrix(), atol=1e-12, err_msg=name
        )
    np.testing.assert_allclose(poses.centre_of_mass(), com, atol=1e-12)


def mjcf(model):
    """The model in mujoco's own format, frames at the segments' origins."""

    def text(v):
        return " ".join(repr(float(x)) for x in v)

    def body(name, at, joint):
        s = model.segments[name]
        inner = f'<inertial pos="{text(s.com)}" mass="{s.mass!r}" diaginertia="{text(np.diag(s.inertia))}"/>'
        if joint is None:
            inner += '<freejoint name="root"/>'
        else:
            inner += mujoco_joints(joint, text)
        for child in (j for j in model.joints.values() if j.parent == name):
            inner += body(child.child, child.centre_in_parent - child.centre_in_child, child)
        return f'<body name="{name}" pos="{text(at)}">{inner}</body>'

    return f"<mujoco><worldbody>{body(model.root, np.zeros(3), None)}</worldbody></mujoco>"


def mujoco_joints(joint, text):
    at = text(joint.centre_in_child)
    if joint.type == "fixed":
        return ""
    if joint.type == "ball":
        return f'<joint name="{joint.name}" type="ball" pos="{at}"/>'
    axes = [joint.axis] if joint.type == "hinge" else [np.eye(3)["XYZ".index(a)] for a in joint.sequence[:2]]
    return "".join(
        f'<joint name="{joint.name}{n}" type="hinge" axis="{text(axis)}" pos="{at}"/>'
        for n, axis in enumerate(axes)
    )


def mujoco_configuration(poses, index):
    """Root position and joint coordinates in mujoco's order: depth first, quaternions scalar first."""
    parts = [poses.root_position[index], poses.rotations[poses.model.root][index].as_quat(scalar_first=True)]

    def visit(parent):
        for joint in (j for j in poses.model.joints.values() if j.parent == parent):
            relative = poses.rotations[parent][index].inv() * poses.rotations[joint.child][index]
            if joint.type == "ball":
                parts.append(relative.as_quat(scalar_first=True))
            elif joint.type == "hinge":
                parts.append([relative.as_rotvec() @ joint.axis])
            elif joint.type == "universal":
                parts.append(relative.as_euler(joint.sequence)[:2])
            visit(joint.child)

    visit(poses.model.root)
    return np.concatenate(parts)


@both_motions
def test_kinematics_and_centre_of_mass_equal_those_of_mujoco(motion):
    mujoco = pytest.importorskip("mujoco", reason="mujoco is not installed; pip install 'bodyfit[test]'")
    poses = MOTIONS[motion]()
    model = mujoco.MjModel.from_xml_string(mjcf(poses.model))
    data = mujoco.MjData(model)
    com = poses.centre_of_mass()
    for index in range(len(poses.time)):
        data.qpos[:] = mujoco_configuration(poses, index)
        mujoco.mj_kinematics(model, data)
        mujoco.mj_comPos(model, data)
        for name in poses.model.segments:
            found = data.body(name)
            np.testing.assert_allclose(poses.positions[name][index], found.xpos, atol=1e-12)
            np.testing.assert_allclose(poses.matrices[name][index].ravel(), found.xmat, atol=1e-12)
        np.testing.assert_allclose(com[index], data.body(poses.model.root).subtree_com, atol=1e-12)


def test_both_segments_of_a_joint_meet_at_its_centre():
    poses = MOTIONS["mixed tree"]()
    for joint in poses.model.joints.values():
        ends = [
            poses.positions[segment] + poses.matrices[segment] @ centre
            for segment, centre in (
                (joint.parent, joint.centre_in_parent),
                (joint.child, joint.centre_in_child),
            )
        ]
        np.testing.assert_allclose(ends[0], ends[1], atol=1e-12)


def test_a_hinge_keeps_the_turn_about_its_axis_of_a_rotation_that_it_does_not_allow():
    axis = np.array([0.0, 0.0, 1.0])
    model = BodyModel(
        "hinge",
        {"a": Segment("a"), "b": Segment("b")},
        {"ab": Joint("ab", "a", "b", type="hinge", axis=axis, centre_in_parent=np.zeros(3))},
    )
    turned = Rotation.from_euler("ZX", [[2.9, 0.1], [-2.9, 0.0]])
    poses = PoseSequence(np.arange(2.0), {"a": Rotation.identity(2), "b": turned}, model)
    np.testing.assert_allclose(poses.configurations()[:, 7], [2.9, -2.9], atol=1e-12)


def test_the_root_stays_at_zero_unless_a_path_is_given():
    poses = from_joint_angles(BODY, np.arange(3.0), {})
    np.testing.assert_array_equal(poses.positions["pelvis"], np.zeros((3, 3)))
    path = np.arange(9.0).reshape(3, 3)
    moved_body = PoseSequence(poses.time, poses.rotations, BODY, path)
    np.testing.assert_allclose(moved_body.positions["skull"] - poses.positions["skull"], path)


# --- refusals


def test_a_missing_segment_is_refused():
    with pytest.raises(InputError, match="rotations: segment 'thorax' of model 'whole_body' is missing"):
        PoseSequence(np.arange(2.0), {"pelvis": Rotation.identity(2)}, BODY)


def test_rotations_of_another_length_are_refused():
    rotations = {name: Rotation.identity(3) for name in BODY.segments}
    with pytest.raises(InputError, match=r"rotations\['pelvis'\]: found 3, expected 2"):
        PoseSequence(np.arange(2.0), rotations, BODY)
    with pytest.raises(InputError, match=r"root_position: found shape \(3, 2\), expected \(3, 3\)"):
        PoseSequence(np.arange(3.0), rotations, BODY, np.zeros((3, 2)))


def test_unknown_joints_and_angles_are_refused_with_the_near_name():
    with pytest.raises(InputError, match=r"no joint 'r_kne' in model 'whole_body'.*did you mean 'r_knee'"):
        from_joint_angles(BODY, np.zeros(1), {"r_kne": {"flexion": 1.0}})
    with pytest.raises(InputError, match=r"angles\['r_knee'\]: no angle 'flex'; .*did you mean 'flexion'"):
        from_joint_angles(BODY, np.zeros(1), {"r_knee": {"flex": 1.0}})


def test_a_centre_of_mass_without_masses_is_refused():
    model = read_model("right_leg").scaled(Person(stature_m=1.7))
    with pytest.raises(
        InputError, match="unknown for pelvis, r_thigh, r_calf, r_hindfoot; give the person's"
    ):
        from_joint_angles(model, np.zeros(1), {}).centre_of_mass()


def test_reported_angles_and_rotation_are_inverse_for_signed_joints():
    joint = Joint("j", "a", "b", sequence="XYZ", angles=("u", "v", "w"), signs=(-1, 1, -1))
    named = {"u": 0.3, "v": -0.4, "w": 1.2}
    found = joint_angles(joint, rotation_from_angles(joint, named).as_matrix())
    assert {name: pytest.approx(value) for name, value in named.items()} == found
