"""Lever arms, hinge axes, softness and latency: found again from forces and rotations made with them."""
# pyright: reportArgumentType=false, reportCallIssue=false

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from bodyfit.alignment.compliance import Hinges, elastic_mounting, elastic_turns
from bodyfit.alignment.joint_axis import hinge_axis
from bodyfit.alignment.joint_centre import (
    Ends,
    LeverPrior,
    joint_forces,
    joint_start,
    lever_prior,
    levers_from_rotations,
)
from bodyfit.alignment.latency import Lateness, lateness_from_joints, worth_taking_off
from bodyfit.core.robust import robust_sd
from bodyfit.core.rotations import apply, exp, heading_matrix
from bodyfit.recording.keyframe_averages import Averages
from bodyfit.recording.preintegration import lever_matrix

G = np.array([0.0, 9.81, 0.0])
ARMS = np.array([[[0.02, -0.15, 0.06], [-0.03, 0.12, 0.04]], [[0.05, -0.1, -0.02], [0.0, 0.2, 0.03]]])  # m
CHAIN = Ends(np.array([[0, 1], [1, 2]]))
LOOSE = LeverPrior(np.zeros(12), np.eye(12) / 0.3**2)


def moving(count=400, units=3, seed=0):
    """Rotations and world-frame lever matrices of units that turn by about 2 rad/s, 10 rad/s²."""
    rng = np.random.default_rng(seed)
    R = Rotation.random(count * units, random_state=seed).as_matrix().reshape(count, units, 3, 3)
    K = lever_matrix(2 * rng.normal(size=(count, units, 3)), 10 * rng.normal(size=(count, units, 3)))
    return R, R @ K


def average_of(levers=ARMS, noise=0.0, seed=0, count=400) -> Averages:
    """What the chain's units feel when both sides of each joint feel the same at its centre."""
    _, lever = moving(count, 3, seed)
    rng = np.random.default_rng(seed + 1)
    force = np.empty((count, 3, 3))
    force[:, 0] = G + 2 * rng.normal(size=(count, 3))
    for j, (p, c) in enumerate(CHAIN.units):
        at_joint = force[:, p] + apply(lever[:, p], levers[j, 0])
        force[:, c] = at_joint - apply(lever[:, c], levers[j, 1]) + noise * rng.normal(size=(count, 3))
    known = np.ones((count, 3), bool)
    return Averages(force, lever, np.zeros_like(force), known, ~known)


# ---- lever arms ----


def test_joint_forces_are_the_specific_forces_at_the_joint():
    average = average_of()
    parent, child = joint_forces(average, CHAIN, ARMS)
    np.testing.assert_allclose(parent, child, atol=1e-9)
    expected = average.force[7, 1] + average.lever[7, 1] @ ARMS[1, 0]
    np.testing.assert_allclose(parent[7, 1], expected, atol=1e-12)


def test_levers_are_found_exactly_where_nothing_disturbs_them():
    weak = LeverPrior(np.zeros(12), np.eye(12) * 1e-6)
    levers, _ = levers_from_rotations(average_of(), CHAIN, np.zeros((2, 2, 3)), np.full(2, 0.1), 1.0, weak)
    np.testing.assert_allclose(levers, ARMS, atol=1e-7)


def test_levers_are_scipys_least_squares_of_the_same_disagreement():
    """Dense and without robust weights, which noise this small leaves at one."""
    average, sd, alike = average_of(noise=0.05), 0.2, 2.0
    prior = LeverPrior(ARMS.ravel() + 0.02, np.eye(12) / 0.05**2)

    def residual(x):
        parent, child = joint_forces(average, CHAIN, x.reshape(2, 2, 3))
        return np.concatenate([(parent - child).ravel() / sd / np.sqrt(alike), (x - prior.mean) / 0.05])

    found = least_squares(residual, np.zeros(12))
    levers, covariance = levers_from_rotations(average, CHAIN, ARMS, np.full(2, sd), alike, prior)
    np.testing.assert_allclose(levers.ravel(), found.x, atol=1e-7)
    np.testing.assert_allclose(covariance, np.linalg.inv(found.jac.T @ found.jac), rtol=1e-4, atol=1e-9)


def test_lever_errors_are_as_large_as_their_covariance_says():
    """Mean of the normalised squares over 40 draws; chi-square with 480 degrees of freedom: 0.87 to 1.13.

    The stated deviation is ten times that of the noise, so that no residual is far enough to count less.
    """
    squares = []
    for seed in range(40):
        average = average_of(noise=0.1, seed=seed, count=100)
        levers, covariance = levers_from_rotations(average, CHAIN, ARMS, np.full(2, 1.0), 1.0, LOOSE)
        off = (levers - ARMS).ravel()
        squares.append(10**2 * off @ np.linalg.solve(covariance, off) / 12)
    assert 0.87 < np.mean(squares) < 1.13


def test_outliers_and_unknown_keyframes_hardly_move_the_levers():
    average = average_of(noise=0.02)
    average.force[::20, 1] += 30.0
    average.force[5::20, 2] = 1e3
    average.known[5::20, 2] = False
    levers = ARMS + 0.03
    for _ in range(5):
        levers, _ = levers_from_rotations(average, CHAIN, levers, np.full(2, 0.1), 1.0, LOOSE)
    np.testing.assert_allclose(levers, ARMS, atol=0.005)


def hinge_with_soft_tissue(seed: int, wobble: float, count: int = 600) -> tuple[Averages, Ends, np.ndarray]:
    """A true hinge about z, the child's unit turning against its bone by `wobble` rad/s² per axis; 1/s⁴."""
    rng = np.random.default_rng(seed)
    R = Rotation.random(count, random_state=seed).as_matrix()
    rate, change = 1.5 * rng.normal(size=(count, 3)), 6 * rng.normal(size=(count, 3))
    bend, bending = 3 * rng.normal(size=count), 15 * rng.normal(size=count)
    z = np.array([0.0, 0.0, 1.0])  # both units' axes are along the parent's, which costs nothing of the idea
    of_child = rate + bend[:, None] * z
    its_change = change + bending[:, None] * z + bend[:, None] * np.cross(rate, z)
    own = wobble * rng.normal(size=(count, 3))
    true = [lever_matrix(w, dw) for w, dw in ((rate, change), (of_child, its_change))]
    seen = np.stack([R @ true[0], R @ lever_matrix(of_child, its_change + own)], 1)
    force = np.empty((count, 2, 3))
    force[:, 0] = G + 2 * rng.normal(size=(count, 3))
    force[:, 1] = force[:, 0] + apply(R @ true[0], ARMS[0, 0]) - apply(R @ true[1], ARMS[0, 1])
    force += 0.05 * rng.normal(size=force.shape)
    known = np.ones((count, 2), bool)
    feigned = np.stack([np.zeros(count), np.full(count, 2 * wobble**2)], 1)  # ⅔ of |θ̈|², three components
    return Averages(force, seen, np.zeros_like(force), known, ~known), Ends(np.array([[0, 1]])), feigned


@pytest.mark.parametrize("wobble", [1.0, 3.0])
def test_soft_tissue_does_not_pass_for_knowledge_along_a_hinge(wobble):
    """A hinge's centre is undetermined along its axis; what tissue adds must not determine it."""
    prior = LeverPrior(np.zeros(6), np.eye(6) / 0.3**2)
    along = np.array([0.0, 0.0, 1.0, 0.0, 0.0, 1.0]) / np.sqrt(2)
    naive, careful = [], []
    for seed in range(20):
        average, ends, feigned = hinge_with_soft_tissue(seed, wobble)
        for told, noise in ((naive, None), (careful, feigned)):
            levers, sd = np.zeros((1, 2, 3)), np.full(1, 0.1)
            for _ in range(4):
                levers, covariance = levers_from_rotations(average, ends, levers, sd, 1.0, prior, noise)
                parent, child = joint_forces(average, ends, levers)
                sd = robust_sd(parent - child, 0.05)
            off = along @ (levers - ARMS[:1]).ravel()
            told.append((off, np.sqrt(along @ covariance @ along)))
    off, sd = np.array(naive).T
    assert np.median(np.abs(off) / sd) > 5 and np.median(sd) < 0.02  # the fault that this guards against
    off, sd = np.array(careful).T
    assert np.mean(np.abs(off) < 1.96 * sd) >= 0.9
    assert np.all(sd > 0.1)


def test_what_tissue_adds_is_taken_off_only_where_it_matters():
    average = average_of(noise=0.05)
    plain, sd = levers_from_rotations(average, CHAIN, ARMS, np.full(2, 0.1), 1.0, LOOSE)
    feigned = np.full((400, 3), 1e-3)  # of lever matrices of some 200 1/s⁴
    levers, covariance = levers_from_rotations(average, CHAIN, ARMS, np.full(2, 0.1), 1.0, LOOSE, feigned)
    np.testing.assert_allclose(levers, plain, atol=1e-4)
    np.testing.assert_allclose(np.diag(covariance), np.diag(sd), rtol=0.05)


def test_without_motion_the_prior_stays():
    average = average_of()
    still = Averages(average.force, 0 * average.lever, average.field, average.known, average.field_known)
    prior = LeverPrior(ARMS.ravel(), np.eye(12) / 0.1**2)
    levers, covariance = levers_from_rotations(still, CHAIN, ARMS, np.full(2, 0.1), 1.0, prior)
    np.testing.assert_allclose(levers, ARMS, atol=1e-12)
    np.testing.assert_allclose(np.sqrt(np.diag(covariance)), 0.1)


SURE = np.zeros((3, 3, 3))


def test_prior_knows_what_a_turn_of_the_unit_would_do_to_its_arm():
    """By hand: 0.3 m along Y, turned by 0.1 rad about X, move by 0.03 m along Z; about Y not at all."""
    place = (np.zeros(3), 1e-8 * np.eye(3))
    turned = np.diag([0.1, 0.1, 0.0]) ** 2 * np.ones((2, 1, 1))
    centres = [(np.array([0.0, -0.3, 0.0]), None)]
    prior = lever_prior(
        Ends(np.array([[0, 1]])), centres, [place, None], np.eye(3) + np.zeros((2, 3, 3)), turned, 0.3, 1e-4
    )
    sd = np.sqrt(np.diag(np.linalg.inv(prior.precision)))[:3]
    np.testing.assert_allclose(sd, [0, 0, 0.03], atol=2e-4)


def test_prior_places_the_joint_as_the_body_says():
    """R = M (c − p) in the unit frame, worked by hand: the unit's X is the segment's Z."""
    M = np.array([[0, 0, 1.0], [0, 1, 0], [-1, 0, 0]])  # unit_from_segment
    ends = Ends(np.array([[0, 1]]))
    place = (np.array([0.03, -0.1, 0.05]), np.diag([0.01, 0.04, 0.01]) ** 2)
    prior = lever_prior(
        ends, [(np.array([0.0, -0.3, 0.0]), None)], [place, None], np.stack([M, M]), SURE[:2], 0.3, 0.02
    )
    np.testing.assert_allclose(prior.mean, [-0.05, -0.2, 0.03, 0, 0, 0], atol=1e-12)
    variance = np.diag(np.linalg.inv(prior.precision))
    np.testing.assert_allclose(variance, [5e-4, 2e-3, 5e-4, 0.09, 0.09, 0.09], rtol=1e-9)


def test_prior_knows_a_segments_length_better_than_its_units_place():
    """Both arms of the middle unit share its place, which is uncertain by 7 cm; their difference is not."""
    place = (np.array([0.02, -0.1, 0.0]), 0.07**2 * np.eye(3))
    centres = [(None, np.zeros(3)), (np.array([0.0, -0.3, 0.0]), None)]
    M = np.broadcast_to(np.eye(3), (3, 3, 3))
    prior = lever_prior(CHAIN, centres, [None, place, None], M, SURE, 0.3, 0.01)
    covariance = np.linalg.inv(prior.precision)
    proximal, distal = slice(3, 6), slice(6, 9)
    np.testing.assert_allclose(prior.mean[distal] - prior.mean[proximal], [0, -0.3, 0], atol=1e-12)
    own = covariance[proximal, proximal] + covariance[distal, distal]
    difference = own - covariance[proximal, distal] - covariance[distal, proximal]
    np.testing.assert_allclose(difference, 2 * 0.01**2 * np.eye(3), atol=1e-12)
    np.testing.assert_allclose(covariance[proximal, proximal], (0.07**2 + 0.01**2) * np.eye(3), atol=1e-12)


# ---- start: heading and arms together ----


def shared(average: Averages, heading: float, joint: int = 0):
    """Both ends of a joint, the child in a world of its own that is turned by −heading."""
    p, c = CHAIN.units[joint]
    back = heading_matrix(-heading)
    parent = (average.force[:, p], average.lever[:, p])
    return parent, (apply(back, average.force[:, c]), back @ average.lever[:, c])


@pytest.mark.parametrize("heading_deg", [0, 50, 135, 200, 355])
def test_start_finds_heading_and_levers_together(heading_deg):
    parent, child = shared(average_of(noise=0.1), np.radians(heading_deg))
    prior = np.zeros(6), np.eye(6) / 0.3**2
    headings, cost, levers = joint_start(parent, child, *prior, 0.5, 1.5)
    best = int(np.argmin(cost))
    np.testing.assert_allclose(np.degrees(headings[best]), heading_deg, atol=1e-9)  # a multiple of the step
    np.testing.assert_allclose(levers[best], ARMS[0], atol=0.02)


def test_start_cost_is_that_of_scipys_best_levers_for_each_heading():
    parent, child = shared(average_of(noise=0.02, count=60), 1.0)
    mean, precision, sd, alike = ARMS[0].ravel() + 0.01, np.eye(6) / 0.1**2, 5.0, 2.0
    headings, cost, levers = joint_start(parent, child, mean, precision, sd, alike)
    for h in (0, 13, 50):
        Q = heading_matrix(headings[h])

        def residual(x, Q=Q):
            off = parent[0] + parent[1] @ x[:3] - apply(Q, child[0] + child[1] @ x[3:])
            return np.concatenate([off.ravel() / sd / np.sqrt(alike), (x - mean) / 0.1])

        found = least_squares(residual, mean)
        # the robust weights stem from the best heading, where they are one: sd is large against the noise
        assert cost[h] == pytest.approx(found.cost, rel=1e-6)
        np.testing.assert_allclose(levers[h].ravel(), found.x, atol=1e-5)


def test_start_says_nothing_about_the_heading_without_horizontal_acceleration():
    average = average_of()
    average.force[:] = G
    parent, child = shared(
        Averages(average.force, 0 * average.lever, average.field, average.known, average.known), 1.0
    )
    _, cost, _ = joint_start(parent, child, np.zeros(6), np.eye(6), 0.5, 1.0)
    assert np.ptp(cost) < 1e-9


# ---- hinges ----


def hinged(angles, axis_parent, axis_child, play=0.0, seed=0):
    """parent_unit_from_child_unit of a hinge: R j_c = j_p but for the play."""
    rng = np.random.default_rng(seed)
    onto = Rotation.align_vectors([axis_parent], [axis_child])[0]
    shaken = Rotation.from_rotvec(play * rng.normal(size=(len(angles), 3)))
    return (shaken * Rotation.from_rotvec(np.outer(angles, axis_parent)) * onto).as_matrix()


AXES = np.array([[0.6, 0.0, 0.8], [-0.48, 0.6, 0.64]])


@pytest.mark.parametrize("degrees", [20, 60, 150])
def test_hinge_axis_is_found_at_both_ends(degrees):
    angles = np.radians(degrees) * np.sin(np.linspace(0, 20, 300))
    axis = hinge_axis(hinged(angles, *AXES), 0.05, 10.0, None, 1.0)
    side = np.sign(axis.directions[0] @ AXES[0])
    np.testing.assert_allclose(side * axis.directions, AXES, atol=1e-9)


def test_hinge_axis_is_as_uncertain_as_it_errs():
    """Root mean square error over 60 draws of the play, against the stated deviation: alike within a half."""
    angles = np.radians(40) * np.sin(np.linspace(0, 20, 300))
    off, stated = [], []
    for seed in range(60):
        axis = hinge_axis(hinged(angles, *AXES, play=0.05, seed=seed), 0.05, 1.0, None, 1.0)
        side = np.sign(axis.directions[0] @ AXES[0])
        off.append(np.linalg.norm(np.cross(side * axis.directions[1], AXES[1])))
        stated.append(axis.sd)
    assert 0.5 < np.sqrt(np.mean(np.square(off))) / np.mean(stated) < 1.5


def test_hinge_axis_of_a_joint_that_does_not_move_is_unknown():
    still, moving_ = hinged(np.zeros(200), *AXES), hinged(np.radians(30) * np.sin(np.arange(200)), *AXES)
    assert hinge_axis(still, 0.05, 10.0, None, 1.0).sd > np.radians(90)
    assert hinge_axis(moving_, 0.05, 10.0, None, 1.0).sd < np.radians(10)


def test_declared_axis_holds_where_the_motion_shows_none_and_gives_the_sign():
    declared = -AXES
    axis = hinge_axis(hinged(np.zeros(200), *AXES), 0.05, 10.0, declared, np.radians(5))
    np.testing.assert_allclose(axis.directions, declared, atol=1e-6)
    tilted = np.stack([exp(np.array([0.1, 0.0, 0.0])) @ a for a in declared])
    swung = hinge_axis(
        hinged(np.radians(60) * np.sin(np.arange(200)), *AXES), 0.02, 1.0, tilted, np.radians(5)
    )
    np.testing.assert_allclose(swung.directions, declared, atol=np.radians(0.5))


# ---- scales and softness ----


def test_robust_sd_is_the_standard_deviation_and_ignores_outliers():
    values = 0.3 * np.random.default_rng(0).normal(size=(20_000, 2, 3))
    values[:, 1] *= 2
    values[::20] = 50.0
    np.testing.assert_allclose(robust_sd(values, 0.01), [0.3, 0.6], rtol=0.1)
    np.testing.assert_array_equal(robust_sd(np.zeros((5, 2, 3)), 0.05), [0.05, 0.05])


def test_elastic_turns_follow_the_load_in_the_unit_frame():
    C = np.zeros((1, 3, 3))
    C[0, 0, 2] = 0.01  # a push along the unit's Z turns it about its X
    R = Rotation.from_rotvec([0.0, 0.5 * np.pi, 0.0]).as_matrix()[None, None]  # the unit's Z is the world's X
    turned = elastic_turns(C, R, np.array([[[9.81, 0.0, 0.0]]]))
    np.testing.assert_allclose(Rotation.from_matrix(turned[0, 0]).as_rotvec(), [0.0981, 0, 0], atol=1e-12)


def softly_worn(soft: np.ndarray, seed: int):
    """Rotations of both units of a hinge, each yielding to loads of 1 g from all sides, and these loads."""
    count, rng = 600, np.random.default_rng(seed)
    relative = hinged(np.radians(60) * np.sin(np.linspace(0, 40, count) + seed), *AXES)
    R_parent = Rotation.random(count, random_state=seed).as_matrix()
    segments = np.stack([R_parent, R_parent @ relative], 1)
    force = 9.81 / np.sqrt(3) * rng.normal(size=(count, 2, 3))
    R = segments
    for _ in range(20):  # R_unit Exp(C f) = R_segment, the load f being felt in the unit's own frame
        R = segments @ np.swapaxes(elastic_turns(soft, R, force), -1, -2)
    return R, force


def test_softness_is_found_from_a_hinge_that_seems_to_twist_with_the_load():
    """Judged on another motion, since turns about the hinge itself can't be told from turns of the joint.

    Units yield by about 0.5° for 1 g; to first order in that, so that 5 % are left for the rest.
    """
    soft = np.radians(0.05) * np.random.default_rng(0).normal(size=(2, 3, 3))
    R, force = softly_worn(soft, 1)
    ends, one_sd = Ends(np.array([[0, 1]])), np.array([0.05])
    found = elastic_mounting(R, force, ends, Hinges(np.array([0]), AXES[None], one_sd), 1.0, 0.1, 0.1)
    R, force = softly_worn(soft, 2)
    twist = [
        np.linalg.norm(apply(X[:, 0], AXES[0]) - apply(X[:, 1], AXES[1]), axis=-1).mean()
        for X in (R, R @ elastic_turns(found, R, force))
    ]
    assert np.degrees(twist[0]) > 0.5
    assert twist[1] < 0.05 * twist[0]


def test_no_hinge_no_softness():
    R, _ = moving(20, 2)
    none = Hinges(np.zeros(0, int), np.zeros((0, 2, 3)), np.zeros(0))
    found = elastic_mounting(R, np.ones((20, 2, 3)), Ends(np.array([[0, 1]])), none, 1.0, 0.01, 0.01)
    np.testing.assert_array_equal(found, np.zeros((2, 3, 3)))


# ---- latency and clocks ----


def late_average(latency: float, offset: np.ndarray, drift: np.ndarray) -> Averages:
    """Averages whose slopes are random, read too early by what is given."""
    rng = np.random.default_rng(3)
    average = average_of(noise=0.02)
    by_latency, lever, by_time = (
        scale * rng.normal(size=x.shape)
        for scale, x in ((5, average.force), (20, average.lever), (20, average.force))
    )
    late = offset + np.linspace(-1, 1, len(average.force))[:, None] * drift
    return Averages(
        average.force - latency * by_latency - late[..., None] * by_time,
        average.lever - (latency + late[..., None, None]) * lever,
        average.field,
        average.known,
        average.field_known,
        by_latency,
        lever,
        by_time,
    )


@pytest.mark.parametrize("true_ms", [-3.0, 0.0, 5.0])
def test_latency_is_what_makes_the_joint_agree(true_ms):
    """The stated deviation is five times that of the noise: nothing counts less, errors stay inside."""
    late = late_average(1e-3 * true_ms, np.zeros(3), np.zeros(3))
    found, sd = lateness_from_joints(late, CHAIN, ARMS, np.full(2, 0.1), 1.0)
    assert abs(1e3 * found.latency - true_ms) < 1e3 * sd.latency < 0.5
    assert bool(worth_taking_off(found, sd)) == (true_ms != 0)


def test_offsets_and_drifts_of_units_are_what_makes_the_joints_agree():
    """Only differences show: the middle unit counts as on time."""
    offset, drift = np.array([0.0, 4e-3, -2e-3]), np.array([1e-3, 0.0, -2e-3])
    found, sd = lateness_from_joints(late_average(2e-3, offset, drift), CHAIN, ARMS, np.full(2, 0.1), 1.0)
    assert abs(found.latency - 2e-3) < 2 * sd.latency
    for value, deviation, true in ((found.offset, sd.offset, offset), (found.drift, sd.drift, drift)):
        assert np.all(np.abs(value - (true - np.median(true))) < 3 * deviation)
        assert np.all(deviation < 5e-4)
    kept = worth_taking_off(found, sd)
    np.testing.assert_array_equal(kept.offset, found.offset)


def test_what_is_small_or_uncertain_is_left():
    def kept(latency, latency_sd, offset, offset_sd):
        of, zero = np.array([0.0, offset]), np.zeros(2)
        sd = Lateness(latency_sd, np.full(2, offset_sd), np.ones(2))
        return worth_taking_off(Lateness(latency, of, zero), sd)

    assert not kept(0.0002, 1e-6, 0.0, 1.0)
    assert not kept(0.003, 0.01, 0.003, 0.001)
    assert kept(0.003, 0.0005, 0.0, 1.0).latency == 0.003
    assert not kept(0.0, 1.0, 0.0004, 1e-6)
    assert kept(0.0, 1.0, 0.005, 0.001).offset[1] == 0.005
