"""Joint ranges that hold exactly: against scipy's bounded least squares, pinocchio, and what was promised."""

import dataclasses
import itertools

import numpy as np
import pinocchio
import pytest
from scipy.optimize import least_squares, lsq_linear
from scipy.spatial.transform import Rotation

from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.joint_angles import rotation_from_angles
from bodyfit.body.motion.joint_limits import enforce as strict
from bodyfit.body.motion.joint_limits import nearest_motion as bounded_motion
from bodyfit.body.motion.joint_limits.bounded_step import bounded_step
from bodyfit.body.motion.joint_limits.enforce import range_bounds, within_ranges
from bodyfit.body.motion.joint_limits.free_chain import (
    Bounds,
    axes_of,
    chain_around,
    charts_at,
    deviation,
    moved,
)
from bodyfit.body.motion.joint_limits.nearest_motion import SETTLED, SETTLING_S
from bodyfit.body.motion.joint_limits.report import strict_report
from bodyfit.body.motion.joint_limits.stretches import Stretch, merged
from bodyfit.body.motion.poses import PoseSequence, from_joint_angles
from bodyfit.body.parts import SEQUENCES, Joint, Segment
from bodyfit.body.person import Person
from bodyfit.errors import CannotReconstructError, InputError
from bodyfit.files.model.model_file import read_model

BODY = read_model("whole_body").scaled(Person(1.75, 70.0, "male"))
RATE = 60.0  # Hz
OVER = {  # joint, angle -> excess (deg), about which time (s)
    ("r_knee", "flexion"): (15.0, 1.6),
    ("r_talocrural", "dorsiflexion"): (12.0, 2.2),
    ("l_elbow", "flexion"): (20.0, 4.0),
}
CONCERNED = {"r_thigh", "r_calf", "r_hindfoot", "l_upperarm", "l_forearm"}


def everyday(count, seed=1):
    """Joint angles of a body that moves within its ranges, all joints at once."""
    rng, time, angles = np.random.default_rng(seed), np.arange(count) / RATE, {}
    for name, joint in BODY.joints.items():
        middle = {"knee": 60, "elbow": 60}.get(name[2:], 0.0)
        size = {a: 2.0 if a in joint.stiffness else 9.0 for a in joint.angles}
        phase = {a: 2 * np.pi * ((0.2 + 0.4 * rng.random()) * time + rng.random()) for a in joint.angles}
        angles[name] = {a: np.radians(size[a] * np.sin(phase[a])) for a in joint.angles}
        angles[name][joint.angles[0]] += np.radians(middle)
    for side in "lr":
        angles[f"{side}_elbow"]["pronation"] += np.radians(60)
        angles[f"{side}_shoulder"]["elevation"] -= np.radians(40)
    return time, angles


def towards(values, target, time, at, width=0.35):
    """Values drawn to a target about a time."""
    return values + (target - values) * np.exp(-(((time - at) / width) ** 2))


def excess(poses, joint, angle):
    """(T,) rad beyond the published range; zero within."""
    low, high = poses.model.joints[joint].range[angle]
    value = poses.joint_angles[joint][angle]
    return np.maximum(np.maximum(low - value, value - high), 0.0)


def largest_excess(poses):
    return max(excess(poses, n, a).max() for n, j in poses.model.joints.items() for a in j.range)


def same_bits(a, b):
    return (a.as_quat() == b.as_quat()).all(-1)


@pytest.fixture(scope="module")
def too_far():
    time, angles = everyday(400)
    for (joint, angle), (deg, at) in OVER.items():
        limit = BODY.joints[joint].range[angle][1]
        angles[joint][angle] = towards(angles[joint][angle], limit + np.radians(deg), time, at)
    turning = Rotation.from_rotvec(np.stack([0.2 * np.sin(time), 0.5 * time, 0.1 * np.cos(time)], -1))
    return from_joint_angles(BODY, time, angles, turning, np.stack([time, 0 * time, 0 * time], -1))


@pytest.fixture(scope="module")
def held(too_far):
    return within_ranges(too_far)


# --- what is promised


def test_ranges_hold_at_every_frame_of_a_whole_body_that_exceeded_three(too_far, held):
    for (joint, angle), (deg, _) in OVER.items():
        assert np.degrees(excess(too_far, joint, angle).max()) == pytest.approx(deg, abs=0.1)
        at_limit = held.joint_angles[joint][angle] > BODY.joints[joint].range[angle][1] - 1e-6
        assert at_limit.sum() >= 8
    assert largest_excess(held) <= 1e-6


def test_segments_and_frames_that_are_not_concerned_keep_every_bit(too_far, held):
    margin = SETTLED * SETTLING_S + 1 / RATE
    beyond = {joint: too_far.time[excess(too_far, joint, angle) > 0] for joint, angle in OVER}
    for name in BODY.segments:
        same = same_bits(held.rotations[name], too_far.rotations[name])
        if name not in CONCERNED:
            assert same.all()
            continue
        times = beyond["l_elbow"] if name[0] == "l" else np.append(beyond["r_knee"], beyond["r_talocrural"])
        outside = (too_far.time < times.min() - margin) | (too_far.time > times.max() + margin)
        assert outside.any()
        assert same[outside].all()
        assert not same.all()
    assert held.root_position is too_far.root_position


def test_a_correction_comes_and_goes_without_a_jump_in_turn_or_rate(too_far, held):
    for name in CONCERNED:
        turned = (held.rotations[name] * too_far.rotations[name].inv()).as_rotvec()
        most = np.linalg.norm(turned, axis=1).max()
        assert np.radians(1) < most < np.radians(25)
        step = np.linalg.norm(np.diff(turned, axis=0), axis=1).max()
        bend = np.linalg.norm(np.diff(turned, 2, axis=0), axis=1).max()
        # away from the bound the deviation goes like exp(-t / tau); at it, no faster than the joint goes
        given = [too_far.joint_angles[joint][angle] for joint, angle in OVER]
        assert step < max(most / SETTLING_S / RATE, *(np.abs(np.diff(a)).max() for a in given))
        assert bend < 1.5 * max(
            most / (SETTLING_S * RATE) ** 2, *(np.abs(np.diff(a, 2)).max() for a in given)
        )


def test_both_ends_of_a_joint_share_the_correction(too_far, held):
    frame = excess(too_far, "l_elbow", "flexion").argmax()
    turned = {
        name: np.degrees((held.rotations[name] * too_far.rotations[name].inv()).magnitude()[frame])
        for name in ("l_upperarm", "l_forearm")
    }
    assert turned["l_upperarm"] == pytest.approx(turned["l_forearm"], abs=0.05)
    assert turned["l_upperarm"] == pytest.approx(10.0, abs=0.5)


def test_a_motion_within_its_ranges_is_returned_itself(held):
    time, angles = everyday(30)
    poses = from_joint_angles(BODY, time, angles)
    assert within_ranges(poses) is poses
    assert within_ranges(held) is held


def test_the_report_says_what_was_exceeded_and_what_changed(too_far, held):
    report = strict_report(too_far, held)
    found = {(j, a): n.most_deg for j, named in report.ranges_exceeded.items() for a, n in named.items()}
    assert found == pytest.approx({key: deg for key, (deg, _) in OVER.items()}, abs=0.1)
    changed = [~same_bits(held.rotations[n], too_far.rotations[n]) for n in BODY.segments]
    assert report.frames_changed == np.any(changed, axis=0).sum()
    assert report.stretches == 2
    assert set(report.segments_changed) == CONCERNED
    assert report.largest_change_segment in ("l_upperarm", "l_forearm")
    assert report.largest_change_deg == pytest.approx(10.0, abs=0.5)
    assert report.largest_change_s == pytest.approx(4.0, abs=0.1)
    nothing = strict_report(held, held)
    assert (nothing.stretches, nothing.largest_change_deg, nothing.ranges_exceeded) == (0, 0.0, {})


def test_progress_counts_frames_to_the_end(too_far):
    told = []
    within_ranges(too_far, lambda *state: told.append(state))
    done, total, what = zip(*told, strict=True)
    assert list(done) == sorted(done)
    assert done[-1] == total[-1] < 2 * len(too_far.time)
    assert set(what) == {"holding joint ranges"}


# --- the nearest motion, against scipy.optimize.least_squares over all joint coordinates of the body


def nearest_by_scipy(poses, held_frames):
    """World rotations (T, S, 3, 3): the definition in the documentation, all segments, nothing left out.

    A rotation vector for the root, joint angles below it; frames that are held stay as given.
    """
    model, free = poses.model, [i for i in range(len(poses.time)) if i not in held_frames]
    given = np.stack([*poses.matrices.values()], 1)
    joints = [*model.joints.values()]
    start = [np.stack([*poses.joint_angles[j.name].values()], -1) for j in joints]
    low, high = (np.full((len(joints), 3), v) for v in (-np.inf, np.inf))
    for index, joint in enumerate(joints):
        for angle, (a, b) in joint.range.items():
            low[index, joint.angles.index(angle)], high[index, joint.angles.index(angle)] = a, b

    def world(x):
        q = x.reshape(len(free), -1, 3)
        turned = {model.root: Rotation.from_rotvec(q[:, 0]).as_matrix() @ poses.matrices[model.root][free]}
        for index, joint in enumerate(joints):
            local = rotation_from_angles(joint, dict(zip(joint.angles, q[:, index + 1].T, strict=True)))
            turned[joint.child] = turned[joint.parent] @ local.as_matrix()
        out = given.copy()
        out[free] = np.stack([turned[name] for name in model.segments], 1)
        return out

    def residuals(x):
        D = world(x) @ np.swapaxes(given, -1, -2)
        changes = np.diff(D, axis=0) * (SETTLING_S / np.diff(poses.time))[:, None, None, None]
        return np.concatenate([(D - np.eye(3)).ravel(), changes.ravel()]) / np.sqrt(2)

    wide = np.full((len(free), 1, 3), np.inf)
    bounds = [np.concatenate([s * wide, np.tile(v, (len(free), 1, 1))], 1) for s, v in ((-1, low), (1, high))]
    x0 = np.concatenate([np.zeros((len(free), 1, 3)), np.stack(start, 1)[free]], 1)
    x0 = np.clip(x0, bounds[0] + 1e-3, bounds[1] - 1e-3)
    flat = [b.ravel() for b in bounds]
    found = least_squares(
        residuals, x0.ravel(), bounds=flat, xtol=1e-14, ftol=1e-14, gtol=1e-12, max_nfev=400
    )
    return world(found.x)


def leg(time, **angles_deg):
    model = read_model("right_leg").scaled(Person(1.75, 70.0, "male"))
    named = {f"r_{j}": {a: np.radians(v) for a, v in each.items()} for j, each in angles_deg.items()}
    turning = Rotation.from_rotvec(np.outer(np.sin(time), [0.3, 0.8, -0.2]))
    return from_joint_angles(model, time, named, turning)


def difference(poses, matrices):
    """Largest angle between segments, rad."""
    ours = np.stack([*poses.matrices.values()], 1)
    turned = np.swapaxes(ours, -1, -2) @ matrices
    return Rotation.from_matrix(turned.reshape(-1, 3, 3)).magnitude().max()


def test_nearest_motion_of_a_leg_is_that_of_scipy_up_to_the_ends_of_the_capture():
    time = np.arange(4) * 0.05
    poses = leg(
        time,
        hip={"flexion": 40 + 30 * time, "adduction": 10, "internal_rotation": -12},
        knee={"flexion": [160, 165, 170, 163], "adduction": 3, "internal_rotation": -6},
        talocrural={"dorsiflexion": -10},
    )
    ours = within_ranges(poses)
    assert difference(poses, np.stack([*ours.matrices.values()], 1)) > np.radians(5)
    assert difference(ours, nearest_by_scipy(poses, ())) < 1e-5


def test_nearest_motion_between_frames_that_are_held_is_that_of_scipy():
    time = np.arange(12) * 0.2
    flexion = np.full(12, 120.0)
    flexion[6] = 172.0
    poses = leg(time, knee={"flexion": flexion, "internal_rotation": 5}, hip={"flexion": 30, "adduction": 8})
    ours = within_ranges(poses)
    held_frames = [0, 1, 2, 10, 11]  # 6 settling times are 3 frames
    assert same_bits(ours.rotations["r_calf"], poses.rotations["r_calf"]).nonzero()[0].tolist() == held_frames
    assert difference(ours, nearest_by_scipy(poses, held_frames)) < 1e-5


def test_a_neighbour_at_its_own_limit_is_taken_along_as_scipy_does():
    time = np.arange(3) * 0.05
    poses = leg(
        time,
        hip={"flexion": [132, 133.5, 133], "internal_rotation": [44, 44.5, 44]},
        knee={"flexion": [-20, -25, -22]},
        talocrural={"dorsiflexion": [39.8, 40.3, 39.8], "inversion": [35.7, 36.0, 35.7]},
    )
    ours = within_ranges(poses)
    assert strict_report(poses, ours).segments_changed == tuple(poses.model.segments)
    assert largest_excess(ours) <= 1e-6
    assert difference(ours, nearest_by_scipy(poses, ())) < 1e-5


def test_a_bounded_step_is_that_of_scipys_lsq_linear():
    rng = np.random.default_rng(3)
    frames, m, n = 7, 9, 3
    J, values = rng.normal(size=(frames, m, n)), rng.normal(size=(frames, m))
    changes, k = rng.normal(size=(frames + 1, m)), rng.uniform(1, 3, frames + 1)
    low, high = np.full((frames, n), -0.1), np.full((frames, n), 0.15)

    def residuals(x):
        moved_by = np.einsum("tij,tj->ti", J, x)
        steps = np.diff(np.concatenate([np.zeros((1, m)), moved_by, np.zeros((1, m))]), axis=0)
        return np.concatenate([(values + moved_by).ravel(), (k[:, None] * (changes + steps)).ravel()])

    b = residuals(np.zeros((frames, n)))
    A = np.stack([residuals(e.reshape(frames, n)) - b for e in np.eye(frames * n)], 1)
    expected = lsq_linear(A, -b, (low.ravel(), high.ravel()), tol=1e-14).x.reshape(frames, n)
    found = bounded_step(J, values, changes, k, low, high)
    assert (np.abs(expected - low) < 1e-6).any()
    assert (np.abs(expected - high) < 1e-6).any()
    assert found == pytest.approx(expected, abs=1e-5)


# --- kinematics


def test_symbolic_kinematics_are_those_of_pinocchio():
    time, angles = everyday(3)
    turning = Rotation.from_rotvec(np.random.default_rng(1).normal(size=(3, 3)))
    poses = from_joint_angles(BODY, time, angles, turning)
    chain = chain_around(BODY, frozenset(BODY.segments))
    local = np.stack(
        [
            poses.matrices[s]
            if j is None
            else np.swapaxes(poses.matrices[j.parent], -1, -2) @ poses.matrices[s]
            for s, j in zip(chain.segments, chain.joints, strict=True)
        ],
        1,
    )
    base, given = np.tile(np.eye(3), (3, 1, 1)), np.tile(np.eye(3), (3, len(chain.segments), 1, 1))
    axes = np.random.default_rng(0).normal(size=given.shape)
    D, J = deviation(chain, base, local, axes, given)
    model = BODY.pinocchio()
    data = model.createData()
    for t, q in enumerate(poses.configurations()):
        pinocchio.computeJointJacobians(model, data, q)
        pinocchio.updateFramePlacements(model, data)
        for s, name in enumerate(chain.segments):
            frame = model.getFrameId(name)
            R = data.oMf[frame].rotation
            assert D[t, 9 * s : 9 * s + 9].reshape(3, 3).T * np.sqrt(2) == pytest.approx(R, abs=1e-12)
            jacobian = pinocchio.getFrameJacobian(model, data, frame, pinocchio.LOCAL_WORLD_ALIGNED)[3:]
            for link, joint in enumerate(chain.joints):
                v = model.idx_vs[model.getJointId(joint.name)] if joint else 3
                # pinocchio turns a ball joint about axes of its child, ours are in the parent
                turns = jacobian[:, v : v + 3] @ local[t, link].T @ axes[t, link]
                for k in range(3):
                    expected = pinocchio.skew(turns[:, k]) @ R / np.sqrt(2)
                    found = J[t, 9 * s : 9 * s + 9, 3 * link + k].reshape(3, 3).T
                    assert found == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("sequence", SEQUENCES)
def test_axes_are_what_scipys_rotations_turn_about(sequence):
    joint = Joint("j", "a", "b", sequence=sequence, signs=(1, -1, -1))
    angles, h = np.array([[0.4, -0.9, 1.3]]), 1e-6
    axes = axes_of(joint, angles)[0]
    for k, d in enumerate(np.eye(3) * h):
        ends = [Rotation.from_euler(sequence, (angles[0] + s * d) * joint.signs) for s in (1, -1)]
        assert (ends[0] * ends[1].inv()).as_rotvec() / (2 * h) == pytest.approx(axes[:, k], abs=1e-8)


def test_steps_reach_the_angles_they_aim_at_and_stop_at_the_bounds():
    joint = BODY.joints["r_hip"]
    bounds = range_bounds(BODY)
    chain = chain_around(BODY, frozenset(["r_thigh"]))
    start = {"flexion": 1.0, "adduction": 0.3, "internal_rotation": -0.4}
    local = np.tile(np.eye(3), (1, 2, 1, 1))
    local[:, 0] = rotation_from_angles(joint, start).as_matrix()
    x = np.zeros((1, 2, 3))
    x[0, 0] = [0.2, 0.9, -0.1]
    charts = charts_at(chain, bounds, local)
    assert charts.high[0, 0, 1] == pytest.approx(np.radians(30) - 0.3)
    expected = rotation_from_angles(
        joint, {"flexion": 1.2, "adduction": np.radians(30), "internal_rotation": -0.5}
    )
    assert moved(chain, bounds, local, charts, x)[0, 0] == pytest.approx(expected.as_matrix(), abs=1e-12)


# --- corners


def with_range(joint, **range_deg):
    """The whole body with one range given anew."""
    ranges = {angle: tuple(np.radians(pair)) for angle, pair in range_deg.items()}
    joints = {**BODY.joints, joint: dataclasses.replace(BODY.joints[joint], range=ranges)}
    return BodyModel("altered", BODY.segments, joints)


def test_an_arm_that_swings_about_hanging_is_solved_as_fast_as_without_a_bound_it_is_far_from(monkeypatch):
    """Its Y-X-Y angles are undefined when it hangs, and turn fast about it."""
    time = np.arange(50) / RATE
    swing = Rotation.from_rotvec(np.stack([0.01 * np.cos(7 * time), 0 * time, 0.01 * np.sin(7 * time)], -1))
    swing = Rotation.concatenate([swing[:20], Rotation.identity(1), swing[21:]])  # straight down at one frame
    angles = {"r_elbow": {"flexion": np.full(50, np.radians(-24.7))}}
    free = from_joint_angles(BODY, time, angles)
    arm = {name: swing * free.rotations[name] for name in ("r_upperarm", "r_forearm", "r_hand")}
    free = dataclasses.replace(free, rotations={**free.rotations, **arm})
    bounded = dataclasses.replace(free, model=with_range("r_shoulder", elevation=(-150, 0)))
    steps = []
    monkeypatch.setattr(bounded_motion, "bounded_step", lambda *a: steps.append(1) or bounded_step(*a))
    expected, count = within_ranges(free), len(steps)
    ours = within_ranges(bounded)
    assert len(steps) - count <= count + 1
    assert np.degrees(difference(free, np.stack([*expected.matrices.values()], 1))) == pytest.approx(
        10, abs=0.5
    )
    assert largest_excess(ours) <= 1e-6
    assert difference(ours, np.stack([*expected.matrices.values()], 1)) < 1e-5


def test_an_arm_raised_too_far_comes_down_to_its_limit():
    model = with_range("r_shoulder", elevation=(-150, 0))
    time = np.arange(60) / RATE
    elevation = np.radians(-140 - 30 * np.sin(np.pi * time))
    poses = from_joint_angles(
        model, time, {"r_shoulder": {"elevation": elevation, "plane_of_elevation": 0.5}}
    )
    ours = within_ranges(poses)
    assert np.degrees(excess(poses, "r_shoulder", "elevation").max()) > 15
    assert largest_excess(ours) <= 1e-6
    assert np.degrees(ours.joint_angles["r_shoulder"]["elevation"].min()) == pytest.approx(-150)


def test_a_range_that_goes_beyond_half_a_turn_is_held_at_its_near_end():
    time = np.arange(30) / RATE
    pronation = np.radians(175 + 22 * np.sin(6 * time))
    poses = from_joint_angles(BODY, time, {"r_elbow": {"pronation": pronation, "flexion": 1.0}})
    ours = within_ranges(poses).joint_angles["r_elbow"]["pronation"]
    assert np.degrees(pronation.max()) > 190
    assert np.degrees(ours.max()) == pytest.approx(182)
    assert np.degrees(ours.min()) > 150


def test_a_single_frame_and_the_ends_of_a_capture_are_held_too():
    for count in (1, 2, 200):
        time = np.arange(count) / RATE
        flexion = np.radians(169 - 40 * np.sin(np.pi * time))
        ours = within_ranges(from_joint_angles(BODY, time, {"l_knee": {"flexion": flexion}}))
        assert largest_excess(ours) <= 1e-6
        assert np.degrees(ours.joint_angles["l_knee"]["flexion"][0]) == pytest.approx(157.0)


def test_a_long_motion_in_windows_is_that_solved_at_once(monkeypatch):
    time = np.arange(500) / RATE
    angles = {"r_talocrural": {"dorsiflexion": np.radians(26 + 25 * np.sin(2 * np.pi * time))}}
    poses = from_joint_angles(BODY, time, angles)
    at_once = within_ranges(poses)
    monkeypatch.setattr(bounded_motion, "WINDOW", 1)  # the shortest: three times the look ahead
    asked = []
    monkeypatch.setattr(
        bounded_motion, "bounded_step", lambda J, *a: asked.append(len(J)) or bounded_step(J, *a)
    )
    ours = within_ranges(poses)
    assert max(asked) == 128
    assert largest_excess(ours) <= 1e-6
    assert np.degrees(difference(ours, np.stack([*at_once.matrices.values()], 1))) < 0.01


def chain_of(kind, **ranges_deg):
    """Three segments in a row; the second joint of the given type, its angles bounded from one side."""
    ranges = {angle: tuple(np.radians(pair)) for angle, pair in ranges_deg.items()}
    side = {angle: (-0.05, 2.0) for angle in ("flexion", "adduction", "internal_rotation")}
    joints = {
        "first": Joint("first", "a", "b", range=ranges),
        "second": Joint("second", "b", "c", kind, axis=np.array([0.0, 0.0, 1.0]), range=side),
    }
    return BodyModel("chain", {name: Segment(name) for name in "abc"}, joints)


@pytest.mark.parametrize(("kind", "kept"), [("fixed", 3), ("hinge", 2), ("universal", 1), ("ball", 0)])
def test_joints_turn_no_way_that_their_type_does_not_allow(kind, kept):
    time = np.arange(40) / RATE
    bend = np.radians(np.stack([70 + 0 * time, 20 + 10 * time, -30 * time]))
    second: dict[str, np.ndarray | float] = {
        "flexion": 0.3,
        "adduction": 0.2 * time,
        "internal_rotation": 0.1,
    }
    first: dict[str, np.ndarray | float] = dict(zip(second, bend, strict=True))
    poses = from_joint_angles(chain_of(kind, flexion=(-10, 60)), time, {"first": first, "second": second})
    ours = within_ranges(poses)
    assert largest_excess(ours) <= 1e-6
    change = [np.abs(ours.joint_angles["second"][a] - poses.joint_angles["second"][a]).max() for a in second]
    assert [c < 1e-9 for c in change] == [False] * (3 - kept) + [True] * kept


def test_stretches_merge_when_they_share_time_and_a_joint():
    knee, elbow = frozenset(["l_thigh", "l_calf"]), frozenset(["l_upperarm", "l_forearm"])
    trunk, foot = frozenset(["pelvis", "thorax"]), frozenset(["l_calf", "l_hindfoot"])
    apart = [Stretch(0, 50, knee), Stretch(10, 60, elbow), Stretch(51, 70, foot)]
    assert merged(BODY, apart) == apart
    assert merged(BODY, [*apart[:2], Stretch(50, 70, foot)])[0] == Stretch(0, 70, knee | foot)
    assert merged(BODY, [*apart[:2], Stretch(50, 70, trunk)]) == [Stretch(0, 70, knee | elbow | trunk)]


# --- what is refused


@pytest.mark.parametrize(
    ("joint", "range_deg", "words"),
    [
        ("r_knee", {"flexion": (20, 20)}, ["joints.r_knee.range_deg.flexion", "[20, 20]", "low below high"]),
        ("r_knee", {"flexion": (30, -5)}, ["[30, -5] deg", "low below high"]),
        ("r_knee", {"flexion": (5, 150)}, ["[5, 150] deg", "neutral pose"]),
        ("r_shoulder", {"elevation": (0, 170)}, ["[0, 170] deg", "-180 to 0 deg", "YXY", "signs"]),
        ("r_knee", {"flexion": (float("nan"), 150)}, ["[nan, 150]", "low below high"]),
    ],
)
def test_a_range_that_cannot_be_held_is_refused(joint, range_deg, words):
    poses = from_joint_angles(with_range(joint, **range_deg), np.arange(3) / RATE, {})
    with pytest.raises(InputError) as refused:
        within_ranges(poses)
    assert all(word in str(refused.value) for word in words)


def test_a_solve_that_fails_says_where_how_far_and_what_to_do(monkeypatch, too_far):
    monkeypatch.setattr(bounded_motion, "MOST_ITERATIONS", 1)
    with pytest.raises(CannotReconstructError) as failed:
        within_ranges(too_far)
    for words in ("r_calf, r_hindfoot, r_thigh", "after 1 iterations", "r_knee flexion is 15", "mounting"):
        assert words in str(failed.value)


def test_a_result_beyond_a_range_is_never_returned(monkeypatch, too_far):
    monkeypatch.setattr(strict, "_with", lambda poses, solved: poses)
    with pytest.raises(CannotReconstructError, match=r"l_elbow flexion is 20\S* deg beyond its range at 4\."):
        within_ranges(too_far)


def test_a_solver_that_meets_nonsense_says_so():
    J = np.full((3, 9, 3), 1e200)
    with pytest.raises(CannotReconstructError, match="HPIPM"), np.errstate(all="ignore"):
        bounded_step(J, J[:, :, 0], np.zeros((4, 9)), np.ones(4), -np.ones((3, 3)), np.ones((3, 3)))


def test_bounds_say_how_far_angles_are_beyond():
    bounds = Bounds(np.array([-1.0, -np.inf, 0.0]), np.array([1.0, np.inf, 2.0]))
    found = bounds.beyond(np.array([[1.5, 9.0, -0.25], [-1.0, -9.0, 2.0]]))
    assert found.tolist() == [[0.5, 0.0, 0.25], [0.0, 0.0, 0.0]]


def test_ranges_that_say_nothing_bound_nothing():
    bounds = range_bounds(BODY)
    assert set(bounds) == set(BODY.joints) - {"l_shoulder", "r_shoulder"}
    low = {n: b.low[0] for n, b in bounds.items()}
    assert all(low[n] == BODY.joints[n].range[BODY.joints[n].angles[0]][0] for n in bounds)
    assert list(itertools.chain(bounds["r_knee"].low[1:], -bounds["r_knee"].high[1:])) == [-np.inf] * 4


def test_poses_keep_their_type_and_time(too_far, held):
    assert isinstance(held, PoseSequence)
    assert held.time is too_far.time
    assert held.model is too_far.model
