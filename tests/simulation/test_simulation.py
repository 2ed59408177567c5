"""Simulated units against the physics that they stand for."""
# pyright: reportOptionalMemberAccess=false, reportOptionalOperand=false, reportOptionalSubscript=false
# pyright: reportArgumentType=false, reportCallIssue=false, reportOperatorIssue=false

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import make_interp_spline
from scipy.signal import freqs
from scipy.spatial.transform import Rotation
from scipy.stats import chi2

from bodyfit.body.chain import BodyModel
from bodyfit.body.motion.chain_from_motion import measured_body, person_from_legs
from bodyfit.body.motion.poses import PoseSequence
from bodyfit.body.motion.smooth_curves import smooth_motion
from bodyfit.body.parts import Joint, Segment
from bodyfit.core.filters import low_passed
from bodyfit.errors import InputError
from bodyfit.files.motion.motion_file import read_motion
from bodyfit.files.motion.pose_tables import write_segments
from bodyfit.recording.capture import Place
from bodyfit.simulation.room_field import Dipole, MagneticField, dipole_field, scattered_dipoles
from bodyfit.simulation.sensor_errors import lost
from bodyfit.simulation.settings import SimulationSettings
from bodyfit.simulation.simulate import simulate
from bodyfit.simulation.soft_tissue import damped_mass
from bodyfit.simulation.unit_path import WornUnit

MOTIONS = Path(__file__).resolve().parents[3] / "shared" / "data" / "motions_isb"
G = 9.80665  # m/s², the conventional value
PERFECT = SimulationSettings.perfect(motion_cutoff=0.0)


def chain() -> BodyModel:
    """Three segments in a row, ball joints off the axis."""
    joints = [
        Joint("first", "a", "b", centre_in_parent=np.array([0.05, -0.3, 0.02]), centre_in_child=np.zeros(3)),
        Joint(
            "second",
            "b",
            "c",
            centre_in_parent=np.array([0.0, -0.25, 0.0]),
            centre_in_child=np.array([0, 0.1, 0]),
        ),
    ]
    return BodyModel("chain", {name: Segment(name) for name in "abc"}, {j.name: j for j in joints})


def swinging(seconds=10.0, rate=120.0) -> PoseSequence:
    """The chain swung about all axes by sums of sines below 2 Hz, up to 7 rad/s."""
    time = np.arange(0, seconds, 1 / rate)
    turns = {}
    for index, name in enumerate("abc"):
        waves = [np.sin(2 * math.pi * f * time + index + k) for k, f in enumerate((0.4, 0.9, 1.7))]
        vector = np.stack(
            [0.6 * waves[0] + 0.2 * waves[2], 0.5 * waves[1], 0.7 * waves[0] - 0.3 * waves[1]], -1
        )
        turns[name] = Rotation.from_rotvec((1 + 0.3 * index) * vector)
    root = np.stack([0.3 * np.sin(2 * time), 1 + 0.1 * np.cos(3 * time), 0.4 * time], -1)
    return PoseSequence(time, turns, chain(), root)


def still(seconds=5.0, quat=(0.1, 0.2, -0.3, 0.9)) -> PoseSequence:
    time = np.arange(0, seconds, 0.01)
    turn = Rotation.from_quat(np.tile(quat, (len(time), 1)))
    return PoseSequence(time, dict.fromkeys("abc", turn), chain())


def hinge(time, angle) -> PoseSequence:
    """One segment that turns about world Z."""
    turns = Rotation.from_rotvec(np.outer(angle, [0.0, 0.0, 1.0]))
    return PoseSequence(time, {"arm": turns}, BodyModel("arm", {"arm": Segment("arm")}, {}))


# ---- motion ----


def test_low_pass_keeps_slow_motion_in_phase_and_removes_fast():
    time = np.arange(0, 10, 1 / 120)
    slow, fast = np.sin(2 * math.pi * 1.0 * time), np.sin(2 * math.pi * 35.0 * time)
    out = low_passed((slow + fast)[:, None], 120.0, 10.0)[:, 0]
    middle = slice(120, -120)
    assert out[middle] == pytest.approx(slow[middle], abs=1e-3)


def test_filtered_motion_keeps_the_joints_together():
    poses = swinging()
    rng = np.random.default_rng(0)
    shaky = {
        n: r * Rotation.from_rotvec(0.02 * rng.standard_normal((len(r), 3)))
        for n, r in poses.rotations.items()
    }
    smooth = smooth_motion(PoseSequence(poses.time, shaky, poses.model, poses.root_position), 10.0).poses(
        poses.time
    )
    joint = poses.model.joints["second"]
    from_parent = smooth.positions["b"] + smooth.rotations["b"].apply(joint.centre_in_parent)
    from_child = smooth.positions["c"] + smooth.rotations["c"].apply(joint.centre_in_child)
    assert from_parent == pytest.approx(from_child, abs=1e-12)
    left = (smooth.rotations["c"].inv() * poses.rotations["c"]).magnitude()[60:-60]
    assert math.degrees(np.sqrt(np.mean(left**2))) < 0.7 * math.degrees(0.02 * math.sqrt(3))


def test_unfiltered_motion_is_the_given_motion_whatever_the_sign_of_its_quaternions():
    poses = swinging()
    sign = np.random.default_rng(1).choice([-1.0, 1.0], (len(poses.time), 1))
    flipped = {name: Rotation.from_quat(sign * r.as_quat()) for name, r in poses.rotations.items()}
    same = smooth_motion(PoseSequence(poses.time, flipped, poses.model), None)
    between = poses.time[:-1] + np.diff(poses.time) / 2
    assert (same.poses(poses.time).rotations["c"].inv() * poses.rotations["c"]).magnitude().max() < 1e-7
    fine = smooth_motion(swinging(rate=240.0), None)
    assert (
        same.poses(between).rotations["c"].inv() * fine.poses(between).rotations["c"]
    ).magnitude().max() < 1e-5


# ---- signals of a perfect unit ----


def test_integrated_gyroscope_returns_the_true_rotation():
    # at 100 Hz each sample spans one interval; its ends are samples of the same motion taken at 200 Hz
    poses = swinging(20.0)
    coarse = simulate(poses, ["c"], PERFECT)
    fine = simulate(poses, ["c"], SimulationSettings.perfect(motion_cutoff=0.0, sampling_frequency=200.0))
    rate = coarse.capture.units["c_unit"].gyroscope
    true = fine.truth.rotations["c"]
    start = int(np.argmin(np.abs(fine.truth.time - (coarse.truth.time[0] - 0.005))))
    turned = true[start]
    for step in Rotation.from_rotvec(rate / 100.0):  # one after the other, as a strapdown integrator does
        turned = turned * step
    end = true[start + 2 * len(rate)]
    assert np.abs(rate).max() > 4.0
    assert (turned.inv() * end).magnitude() < 1e-6


def test_pendulum_reads_the_textbook_rate_and_specific_force():
    # Angle A sin(w t) about Z, unit at distance r below: tangential r*a - along the arm r*w², and gravity.
    # Any dynamics textbook; e.g. Meriam & Kraige, Dynamics, section 2/6 (from memory).
    amplitude, w, r = 0.8, 2 * math.pi * 0.7, 0.6
    time = np.arange(0, 8, 1 / 120)
    worn = {"bob": WornUnit("arm", np.array([0.0, -r, 0.0]))}
    made = simulate(hinge(time, amplitude * np.sin(w * time)), worn, PERFECT)
    unit, t = made.capture.units["bob"], made.truth.time
    angle, rate = amplitude * np.sin(w * t), amplitude * w * np.cos(w * t)
    acceleration = -amplitude * w**2 * np.sin(w * t)
    averaged = rate * np.sinc(w * 0.01 / (2 * math.pi))  # mean of a cosine over one sampling interval
    force = np.stack([r * acceleration + G * np.sin(angle), r * rate**2 + G * np.cos(angle), 0 * t], -1)
    inner = slice(20, -20)
    assert unit.gyroscope[inner] == pytest.approx(np.outer(averaged, [0, 0, 1])[inner], abs=1e-5)
    assert unit.accelerometer[inner] == pytest.approx(force[inner], abs=1e-3)


@pytest.mark.parametrize(("place", "gravity"), [(None, G), (Place(60.0, 10.0), 9.8191769531)])
def test_accelerometer_at_rest_reads_gravity_upwards(place, gravity):
    # WGS 84 normal gravity at 60 degrees, see published/test_gravity.py
    poses = still()
    made = simulate(poses, None, PERFECT, place=place)
    up = poses.rotations["a"][0].inv().apply([0.0, gravity, 0.0])
    for unit in made.capture.units.values():
        assert unit.accelerometer == pytest.approx(np.tile(up, (len(unit.time), 1)), abs=1e-8)
        assert unit.gyroscope == pytest.approx(np.zeros_like(unit.gyroscope), abs=1e-9)


def test_neighbours_feel_the_same_acceleration_at_their_joint():
    # s = f + (alpha x + w x w x) r in both unit frames, turned into the world (rigid-body kinematics)
    settings = SimulationSettings.perfect(motion_cutoff=0.0, sampling_frequency=1000.0, mounting_spread=0.5)
    poses = swinging(6.0)
    made = simulate(poses, ["b", "c"], settings, seed=4)
    joint = poses.model.joints["second"]
    carried = []
    for name, centre in (("b_unit", joint.centre_in_parent), ("c_unit", joint.centre_in_child)):
        unit, truth = made.capture.units[name], made.units[name]
        arm = truth.mounting.inv().apply(centre - truth.position)
        w, alpha = unit.gyroscope, make_interp_spline(unit.time, unit.gyroscope, 5).derivative()(unit.time)
        felt = unit.accelerometer + np.cross(alpha, arm) + np.cross(w, np.cross(w, arm))
        carried.append(truth.rotation.apply(felt)[300:-300])
    assert np.ptp(carried[0], axis=0).min() > 4.0
    assert carried[0] == pytest.approx(carried[1], abs=2e-3)


def test_mounting_and_place_are_what_the_truth_says():
    settings = SimulationSettings.perfect(mounting_spread=0.5, motion_cutoff=0.0)
    made = simulate(swinging(), ["b"], settings, seed=3)
    truth = made.units["b_unit"]
    assert 0.01 < truth.mounting.magnitude() < 0.5
    expected = made.truth.rotations["b"] * truth.mounting
    assert (truth.rotation.inv() * expected).magnitude().max() < 1e-7
    place = made.truth.positions["b"] + made.truth.rotations["b"].apply(truth.position)
    assert truth.place == pytest.approx(place, abs=1e-7)
    assert np.allclose(made.capture.units["b_unit"].mounting, truth.mounting.as_quat())


def test_published_filter_finds_the_true_orientation():
    # VQF (Laidig & Seel 2023, PyPI vqf), a single-unit filter that knows nothing of this simulator
    from vqf import offlineVQF

    settings = SimulationSettings(soft_tissue_deg_per_g=0.0, soft_tissue_mm_per_g=0.0, mounting_spread=0.5)
    made = simulate(swinging(30.0), ["c"], settings, seed=9)
    unit = made.capture.units["c_unit"]
    samples = [np.ascontiguousarray(x) for x in (unit.gyroscope, unit.accelerometer, unit.magnetometer)]
    found = Rotation.from_quat(offlineVQF(*samples, 0.01)["quat9D"], scalar_first=True)
    ours_from_theirs = Rotation.from_matrix(
        [[0, 1, 0], [0, 0, 1], [1, 0, 0]]
    )  # east, north, up -> north, up, east
    error = (made.units["c_unit"].rotation.inv() * ours_from_theirs * found).magnitude()
    assert math.degrees(np.sqrt(np.mean(error**2))) < 3.0


# ---- soft tissue ----


@pytest.mark.parametrize("frequency", [0.5, 3.0, 7.0, 12.0])
def test_tissue_answers_like_a_damped_mass(frequency):
    # amplitude from scipy's analogue transfer function of w² / (s² + 2 z w s + w²), 7 Hz, z = 0.4
    w = 2 * math.pi * 7.0
    _, (response,) = freqs([w * w], [1, 0.8 * w, w * w], [2 * math.pi * frequency])
    time = np.arange(0, 6, 1 / 240)
    out = damped_mass(np.sin(2 * math.pi * frequency * time)[:, None], 1 / 240)[720:, 0]
    basis = np.exp(2j * math.pi * frequency * time[720:])
    gain = 2 * np.abs(np.mean(out * basis.conj()))
    assert gain == pytest.approx(abs(response), rel=0.02)


def test_tissue_turns_by_the_asked_angle_under_steady_acceleration():
    # a turntable: a steady 0.5 g towards the axis, across the segment
    radius = 0.5
    w = math.sqrt(0.5 * G / radius)
    time = np.arange(0, 8, 1 / 120)
    turn = Rotation.from_rotvec(np.outer(w * time, [0.0, 1.0, 0.0]))
    poses = PoseSequence(time, {"arm": turn}, BodyModel("arm", {"arm": Segment("arm")}, {}))
    settings = SimulationSettings.perfect(
        soft_tissue_deg_per_g=3.0, soft_tissue_mm_per_g=6.0, motion_cutoff=0.0
    )
    truth = simulate(poses, {"u": WornUnit("arm", np.array([radius, 0.0, 0.0]))}, settings).units["u"]
    assert math.degrees(truth.soft_turn_rms) == pytest.approx(1.5, rel=1e-3)
    assert truth.soft_shift == pytest.approx(np.tile([0.003, 0, 0], (len(truth.soft_shift), 1)), abs=1e-5)
    assert not np.allclose(truth.soft_turn[0], 0)


def test_tissue_lies_between_bone_and_unit():
    settings = SimulationSettings.perfect(soft_tissue_deg_per_g=5.0, motion_cutoff=0.0, mounting_spread=0.5)
    made = simulate(swinging(), ["c"], settings, seed=3)
    truth = made.units["c_unit"]
    expected = made.truth.rotations["c"] * Rotation.from_rotvec(truth.soft_turn) * truth.mounting
    assert (truth.rotation.inv() * expected).magnitude().max() < 1e-6
    assert math.degrees(np.linalg.norm(truth.soft_turn, axis=-1).max()) > 1.0


@pytest.mark.parametrize("lean", [0.0, 30.0, 90.0])
def test_tissue_sags_by_the_pull_of_gravity_across_the_segment(lean):
    # held still, sin(lean) of gravity acts across the segment; the unit goes down with it
    quat = Rotation.from_euler("z", lean, degrees=True).as_quat()
    settings = SimulationSettings.perfect(
        soft_tissue_deg_per_g=3.0, soft_tissue_mm_per_g=6.0, soft_tissue_sags=True, motion_cutoff=0.0
    )
    truth = simulate(still(1.0, quat), ["a"], settings).units["a_unit"]
    across = math.sin(math.radians(lean))
    assert math.degrees(truth.soft_turn_rms) == pytest.approx(3.0 * across, abs=1e-3)
    down = Rotation.from_quat(quat).apply(truth.soft_shift)[:, 1]
    assert down == pytest.approx(np.full(len(down), -0.006 * across**2), abs=1e-6)
    firm = simulate(still(1.0, quat), ["a"], replace(settings, soft_tissue_sags=False)).units["a_unit"]
    assert firm.soft_turn_rms < 1e-9


def test_stated_mountings_are_off_as_asked_and_true_ones_are_not():
    asked = math.radians(1.5)
    settings = SimulationSettings.perfect(mounting_spread=0.5, motion_cutoff=0.0)
    off = []
    for seed in range(12):
        made = simulate(still(0.6), None, replace(settings, stated_mounting_sd=asked), seed)
        sure = simulate(still(0.6), None, settings, seed)
        for name, truth in made.units.items():
            assert np.array_equal(truth.mounting.as_quat(), sure.units[name].mounting.as_quat())
            stated = Rotation.from_quat(made.capture.units[name].mounting)
            off.append((stated * truth.mounting.inv()).as_rotvec())
    low, high = chi2.ppf([0.0005, 0.9995], np.size(off))
    assert low < np.sum(np.square(off)) / asked**2 < high


# ---- errors of the sensors ----


@pytest.mark.parametrize(
    ("sensor", "field", "sd"),
    [
        ("gyroscope", "gyroscope_noise_density", 0.001),
        ("accelerometer", "accelerometer_noise_density", 0.02),
        ("magnetometer", "magnetometer_noise_sd", 3e-7),
    ],
)
def test_noise_has_the_standard_deviation_of_its_density(sensor, field, sd):
    fs = 50.0
    density = sd if field.endswith("_sd") else sd / math.sqrt(fs / 2)  # one-sided, from 0 to fs / 2
    settings = SimulationSettings.perfect(sampling_frequency=fs, **{field: density})
    unit = simulate(still(40.0), ["a"], settings, seed=8).capture.units["a_unit"]
    signal = getattr(unit, sensor)
    squares = np.sum((signal - signal.mean(axis=0)) ** 2) / sd**2
    low, high = chi2.ppf([0.0005, 0.9995], signal.size - 3)
    assert low < squares < high


def test_same_seed_same_samples_and_other_units_change_nothing():
    poses, settings = swinging(3.0), SimulationSettings(dropped_share=0.05, magnetic_distortion=5e-6)
    one, again = (simulate(poses, ["c", "a"], settings, seed=5).capture.units["a_unit"] for _ in range(2))
    alone = simulate(poses, ["a"], settings, seed=5).capture.units["a_unit"]
    other = simulate(poses, ["a"], settings, seed=6).capture.units["a_unit"]
    for sensor in ("accelerometer", "gyroscope", "magnetometer"):
        assert np.array_equal(getattr(one, sensor), getattr(again, sensor))
        assert np.array_equal(getattr(one, sensor), getattr(alone, sensor))
    assert not np.array_equal(one.gyroscope[:50], other.gyroscope[:50])


def test_read_signal_is_matrix_bias_and_noise_of_the_truth():
    poses = swinging(3.0)
    clean = simulate(poses, ["b"], SimulationSettings.perfect(motion_cutoff=10.0)).capture.units["b_unit"]
    settings = SimulationSettings.perfect(
        gyroscope_bias_sd=0.01,
        accelerometer_bias_sd=0.1,
        scale_error_sd=0.01,
        misalignment_sd=0.01,
        motion_cutoff=10.0,
    )
    made = simulate(poses, ["b"], settings, seed=2)
    error = made.units["b_unit"].errors["gyroscope"]
    read = clean.gyroscope @ error.matrix.T + error.bias
    assert made.capture.units["b_unit"].gyroscope == pytest.approx(read, abs=1e-12)
    assert np.abs(error.bias[0]).max() > 1e-3
    assert np.abs(error.matrix - np.eye(3)).min() > 1e-6


def test_dropped_share_is_what_was_asked_for():
    share = np.mean(lost(np.random.default_rng(0), 400_000, 0.1))
    assert share == pytest.approx(0.1, abs=4.5 * math.sqrt(0.1 * 0.9 * 5 / 400_000))
    made = simulate(swinging(20.0), ["a"], SimulationSettings(dropped_share=0.1), seed=1)
    kept = made.units["a_unit"].kept
    assert len(made.capture.units["a_unit"].time) == kept.sum() < len(made.truth.time)
    assert made.capture.units["a_unit"].time == pytest.approx(made.truth.time[kept], abs=1e-12)


def test_full_scale_clips():
    settings = SimulationSettings.perfect(
        gyroscope_full_scale=2.0, accelerometer_full_scale=11.0, motion_cutoff=0.0
    )
    free = simulate(swinging(), ["c"], PERFECT).capture.units["c_unit"]
    unit = simulate(swinging(), ["c"], settings).capture.units["c_unit"]
    assert np.abs(free.gyroscope).max() > 2.0
    assert np.array_equal(unit.gyroscope, np.clip(free.gyroscope, -2.0, 2.0))
    assert np.abs(unit.accelerometer).max() == 11.0
    assert unit.full_scale == {"gyroscope": 2.0, "accelerometer": 11.0}


def test_clock_is_recovered_exactly_from_the_stamps():
    settings = SimulationSettings.perfect(clock_offset_sd=0.02, clock_rate_sd=50e-6)
    made = simulate(swinging(), ["a", "b"], settings, seed=7)
    for name, unit in made.capture.units.items():
        slope, offset = np.polyfit(made.truth.time, unit.time, 1)
        assert offset == pytest.approx(made.units[name].clock_offset, abs=1e-9)
        assert slope - 1 == pytest.approx(made.units[name].clock_rate, abs=1e-9)
        assert abs(made.units[name].clock_offset) > 1e-4


# ---- magnetic field ----


def test_magnetometer_reads_the_earth_field_far_from_iron():
    settings = SimulationSettings.perfect(motion_cutoff=0.0)
    made = simulate(swinging(), ["c"], settings)
    field, rotation = made.capture.units["c_unit"].magnetometer, made.units["c_unit"].rotation
    assert np.linalg.norm(field, axis=-1) == pytest.approx(np.full(len(field), 48e-6), rel=1e-12)
    north, up = 48e-6 * math.cos(math.radians(64)), -48e-6 * math.sin(math.radians(64))
    assert rotation.apply(field) == pytest.approx(np.tile([north, up, 0.0], (len(field), 1)), abs=1e-15)


def test_dipole_field_on_its_axis_and_beside_it():
    # mu0 m / (2 pi r³) on the axis, half of it, reversed, beside it: Jackson, Classical Electrodynamics, 5.6
    dipole = Dipole((1.0, 0.0, 0.0), (0.0, 10.0, 0.0))
    r = 50.0  # m, where the softened core does not count
    expected = 4e-7 * math.pi * 10.0 / (2 * math.pi * r**3)
    assert dipole_field(dipole, np.array([1.0, r, 0.0])) == pytest.approx([0, expected, 0], rel=1e-4)
    assert dipole_field(dipole, np.array([1.0 + r, 0.0, 0.0])) == pytest.approx(
        [0, -expected / 2, 0], rel=1e-4
    )


def test_scattered_iron_bends_the_field_by_the_asked_amount():
    path = np.stack([np.linspace(0, 5, 200), np.ones(200), np.zeros(200)], -1)
    dipoles = scattered_dipoles(np.random.default_rng(1), path, 8e-6)
    bent = MagneticField(dipoles=dipoles).at(path) - MagneticField().earth
    assert np.sqrt(np.mean(np.sum(bent**2, -1))) == pytest.approx(8e-6, rel=1e-9)
    far = MagneticField(dipoles=dipoles).at(np.array([300.0, 0.0, 0.0]))
    assert far == pytest.approx(MagneticField().earth, abs=1e-9)


# ---- motions from files ----


def test_joint_centres_are_measured_from_positions():
    poses = swinging()
    bare = BodyModel(
        "chain", poses.model.segments, {n: Joint(n, j.parent, j.child) for n, j in poses.model.joints.items()}
    )
    origin_at_joint = {n: p.copy() for n, p in poses.positions.items()}
    joint = poses.model.joints["second"]
    origin_at_joint["c"] += poses.rotations["c"].apply(joint.centre_in_child)
    wobble = np.outer(0.01 * np.sin(2 * math.pi * poses.time), [1.0, 2.0, 3.0])  # whole periods: mean zero
    for name in "bc":
        origin_at_joint[name] += poses.rotations["a"].apply(wobble)
    found = measured_body(bare, poses.rotations, origin_at_joint)
    for name in ("first", "second"):
        expected = poses.model.joints[name].centre_in_parent
        assert found.joints[name].centre_in_parent == pytest.approx(expected, abs=1e-9)
    assert found.segments["b"].length == pytest.approx(0.25)


def write_motion(path, poses, positions):
    with path.open("wb") as file:
        write_segments(file, poses.time, poses.rotations, positions)


def test_motion_comes_back_from_its_table(tmp_path):
    poses = swinging(2.0)
    write_motion(tmp_path / "segments.csv", poses, poses.positions)
    back = read_motion(tmp_path, chain())
    assert (back.rotations["c"].inv() * poses.rotations["c"]).magnitude().max() < 1e-8
    assert back.root_position == pytest.approx(poses.root_position, abs=1e-6)


def test_motion_without_a_segment_says_which(tmp_path):
    poses = swinging(2.0)
    write_motion(tmp_path / "segments.csv", poses, None)
    with pytest.raises(InputError, match=r"no rotation of segment 'pelvis'.* holds a, b, c\. Choose a model"):
        read_motion(tmp_path / "segments.csv")


@pytest.mark.skipif(not MOTIONS.is_dir(), reason="the recorded motions are not beside this checkout")
def test_recorded_motion_becomes_fifteen_units():
    poses = read_motion(MOTIONS / "02_01.parquet")
    made = simulate(poses, None, SimulationSettings.perfect(soft_tissue_deg_per_g=3.0), seed=1)
    assert len(made.capture.units) == 15
    assert 1.5 < person_from_legs(poses.model).stature_m < 1.9
    time = made.truth.time
    for name, unit in made.capture.units.items():
        # over the whole motion, acceleration adds up to the change of velocity
        force = made.units[name].rotation.apply(unit.accelerometer)
        gained = np.trapezoid(force - [0, G, 0], time, axis=0)
        velocity = np.gradient(made.units[name].place, time, axis=0, edge_order=2)
        assert gained == pytest.approx(velocity[-1] - velocity[0], abs=0.02)


# ---- refusals ----


def test_unknown_segment_is_refused_with_the_near_name():
    model = BodyModel("leg", {"r_calf": Segment("r_calf")}, {})
    time = np.arange(0, 1, 0.01)
    poses = PoseSequence(time, {"r_calf": Rotation.identity(100)}, model)
    with pytest.raises(
        InputError, match=r"r_claf_unit: segment 'r_claf' is not in model 'leg'.*did you mean 'r_calf'"
    ):
        simulate(poses, ["r_claf"])


def test_model_without_joint_centres_is_refused():
    poses = swinging(2.0)
    bare = BodyModel(
        "chain", poses.model.segments, {n: Joint(n, j.parent, j.child) for n, j in poses.model.joints.items()}
    )
    with pytest.raises(
        InputError, match=r"joint first has no centre_in_parent_m.*Scale the model to a person"
    ):
        simulate(PoseSequence(poses.time, poses.rotations, bare))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"gyroscope_bias_sd": -1.0}, "gyroscope_bias_sd = -1.0; expected a number that is not negative"),
        ({"sampling_frequency": 0.0}, "expected 1 to 10000 Hz"),
        ({"dropped_share": 1.0}, "expected a share below 1"),
    ],
)
def test_impossible_settings_are_refused(change, message):
    with pytest.raises(InputError, match=message):
        SimulationSettings(**change)


def test_short_or_disordered_motion_is_refused():
    poses = swinging(2.0)
    with pytest.raises(InputError, match=r"expected 20 poses and 0\.5 s at least"):
        simulate(PoseSequence(poses.time[:10], {n: r[:10] for n, r in poses.rotations.items()}, poses.model))
    with pytest.raises(InputError, match="15 poses over 1"):
        few = slice(0, 225, 15)
        rotations = {n: r[few] for n, r in poses.rotations.items()}
        simulate(PoseSequence(poses.time[few], rotations, poses.model))
    time = poses.time.copy()
    time[7] = time[6]
    with pytest.raises(InputError, match="time does not increase at row 7"):
        simulate(PoseSequence(time, poses.rotations, poses.model))
