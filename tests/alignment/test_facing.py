"""How units face: the tree against summing over everything, the parts against what they stand for."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.alignment.evidence import Guess
from bodyfit.alignment.facing.arms import BY_DISAGREEMENT, Lean, Prior, arms_of, heading_likelihood
from bodyfit.alignment.facing.chain import TEMPER, Chain, joint_table, smoothed, wearers
from bodyfit.alignment.facing.evidence import HeldLevel, KnownFacing
from bodyfit.alignment.facing.grid import FINE, FINER, GRID, HEADINGS, blurred, gathered, walked, wrapped
from bodyfit.alignment.facing.lean import by_gravity, righted
from bodyfit.alignment.facing.pieces import Pieces
from bodyfit.alignment.facing.places import hips_evidence
from bodyfit.alignment.facing.posture import Posture, posture_of
from bodyfit.alignment.facing.tree import marginals, runner_up
from bodyfit.alignment.facing.usual import usual_of
from bodyfit.core.rotations import apply, exp, heading_matrix
from bodyfit.estimator.initial.facing.apart import tied
from bodyfit.files.model.model_file import read_model

BODY = read_model(Path(__file__).parents[2] / "models" / "whole_body.toml")
ONE = np.array([False])  # a piece by itself: after a gap, in motion
F = len(FINE)
SHARP = np.radians(1.0)  # so little that the grid does not show it
EDGES = [(0, 1), (0, 2), (2, 3)]


def test_marginals_and_mode_are_those_of_all_combinations():
    rng = np.random.default_rng(0)
    pair, own = 2 * rng.normal(size=(3, 5, 5)), 2 * rng.normal(size=(4, 5))
    whole = np.zeros((5,) * 4)
    for at in itertools.product(range(5), repeat=4):
        whole[at] = sum(own[u, at[u]] for u in range(4))
        whole[at] += sum(pair[j, at[p], at[c]] for j, (p, c) in enumerate(EDGES))
    p = np.exp(whole) / np.exp(whole).sum()
    found = marginals(EDGES, pair, own)
    for u in range(4):
        np.testing.assert_allclose(
            np.exp(found.unit[u]), p.sum(tuple(v for v in range(4) if v != u)), rtol=1e-9
        )
    np.testing.assert_allclose(np.exp(found.pair[2]), p.sum((0, 1)), rtol=1e-9)
    assert tuple(found.mode) == np.unravel_index(whole.argmax(), whole.shape)


def test_a_second_way_is_given_where_it_is_nearly_as_likely():
    """Two units that may both be turned by half a turn, and a third that is sure."""
    same = -0.5 * (wrapped(GRID[:, None] - GRID) / 0.2) ** 2
    either = np.logaddexp(
        -0.5 * (wrapped(GRID) / 0.2) ** 2, np.log(0.8) - 0.5 * (wrapped(GRID - np.pi) / 0.2) ** 2
    )
    own = np.stack([either, np.zeros(HEADINGS), -0.5 * (wrapped(GRID - 1) / 0.2) ** 2])
    pair = np.stack([same, np.zeros_like(same)])
    edges = [(0, 1), (1, 2)]
    found = marginals(edges, pair, own)
    other = runner_up(edges, pair, own, found)
    assert other is not None and found.mode[0] == found.mode[1] == 0
    assert other[0] == other[1] == HEADINGS // 2 and other[2] == found.mode[2]
    own[0] -= 3.0 * (np.abs(wrapped(GRID)) > 1.5)  # twenty times less likely
    assert runner_up(edges, pair, own, marginals(edges, pair, own)) is None
    nothing = np.zeros_like(own)
    assert runner_up(edges, 0 * pair, nothing, marginals(edges, 0 * pair, nothing)) is None


def test_blurred_and_walked_headings_keep_their_mean_and_gain_the_variance():
    point = np.zeros(HEADINGS)
    point[5] = 1.0
    for spread, sd in ((blurred(point, 0.3), 0.3), (walked(point, 0.05), 0.05)):
        off = wrapped(GRID - GRID[5])
        assert spread.sum() == pytest.approx(1.0)
        assert np.sum(spread * off**2) == pytest.approx(sd**2, rel=0.02)


def test_a_table_over_the_parents_facing_serves_all_facings_of_the_child():
    """Against Cardan angles by scipy, of R = Ry(μ_p) S_pᵀ Ry(ψ) S_c Ry(−μ_c)."""
    S = Rotation.random(2, random_state=1).as_matrix()
    joint, usual = BODY.joints["r_hip"], usual_of("r_hip")
    assert usual is not None
    found = posture_of((S[:1], S[1:]), joint, usual, 0.0, 0.1)
    psi, parent, child = 7, 30, 12
    R = (
        heading_matrix(GRID[parent])
        @ S[0].T
        @ heading_matrix(GRID[psi])
        @ S[1]
        @ heading_matrix(-GRID[child])
    )
    third = Rotation.from_matrix(R).as_euler("ZXY")[2]
    assert wrapped(found.third[psi, parent] - GRID[child] - third) == pytest.approx(0.0, abs=1e-5)


def test_a_shoulders_twist_shifts_with_both_facings():
    swing = Rotation.from_rotvec([0.6, 0.0, -0.4]).as_matrix()
    S = np.eye(3)[None], (swing @ heading_matrix(np.array(0.3)))[None]
    joint, usual = BODY.joints["r_shoulder"], usual_of("r_shoulder")
    assert usual is not None
    found = posture_of(S, joint, usual, 0.0, 0.1)
    np.testing.assert_allclose(wrapped(found.third[0] - 0.3 - GRID), 0.0, atol=1e-6)


def test_a_knee_that_bends_tells_the_sense_and_a_straight_one_does_not():
    joint, usual = BODY.joints["r_knee"], usual_of("r_knee")
    assert usual is not None
    for bend, tells in ((np.linspace(0.2, 1.4, 8), True), (np.linspace(0.0, 0.02, 8), False)):
        child = Rotation.from_euler("Z", -bend[:, None]).as_matrix()
        one = posture_of((np.tile(np.eye(3), (8, 1, 1)), child), joint, usual, 0.0, 2.0)
        even = np.full((1, F), 1 / F)
        table = joint_table(Chain(even, [one], ONE, ONE, usual.constant, np.radians([6.0]), SHARP))
        right, reversed_ = table[0, 0], table[F // 2, F // 2]
        assert (right - reversed_ > 1.5) == tells


@pytest.mark.parametrize("continued", [False, True])
def test_a_habit_of_the_wearer_counts_once(continued):
    """A second angle 20° off in every piece: against 10° by wearer, not against 10°/√n by piece."""
    log, off = np.zeros((HEADINGS, HEADINGS)), np.zeros((1, HEADINGS, HEADINGS))
    off[0] = np.radians(10.0) * (1 - np.cos(GRID))  # 20° where the parent's unit faces backwards
    one = Posture(log, off, np.radians([4.0]) ** 2, log, 1e6, 0.0)
    even = np.full((12, F), 1 / F)
    row, turn = np.r_[False, np.full(11, continued)], np.full(12, np.radians(6.0))
    table = joint_table(Chain(even, [one] * 12, row, np.zeros(12, bool), np.radians([10.0]), turn, SHARP))
    assert table[0, 0] - table[F // 2, 0] == pytest.approx(0.5 * 2.0**2, abs=0.7)
    table = joint_table(Chain(even, [one] * 12, row, np.zeros(12, bool), np.radians([0.1]), turn, SHARP))
    assert table[0, 0] - table[F // 2, 0] > 5


def test_wearers_that_stand_for_all_are_spread_as_people_are():
    own, weight = wearers(np.array([0.1, 0.2]))
    assert weight.sum() == pytest.approx(1)
    np.testing.assert_allclose(np.sqrt(weight @ own**2), [0.1, 0.2], rtol=0.1)
    assert wearers(np.zeros(0))[0].shape == (1, 0)
    own, weight = wearers(np.array([0.1]))
    assert weight @ (np.abs(own[:, 0]) < 0.135) == pytest.approx(0.75, abs=0.06)  # of Student's t, 4 degrees
    assert 0.01 < weight @ (np.abs(own[:, 0]) > 0.3) < 0.05  # 0.04 of it; a normal distribution 0.003


def test_a_bent_wrist_ties_hand_to_forearm_and_tells_neithers_facing():
    joint, usual = BODY.joints["r_radiocarpal"], usual_of("r_radiocarpal")
    assert usual is not None
    hand = Rotation.from_euler("ZX", np.radians([[-30, 45], [-20, 50], [-40, 48]])).as_matrix()
    one = posture_of((np.tile(np.eye(3), (3, 1, 1)), hand), joint, usual, 0.0, 2.0)
    even = np.full((1, F), 1 / F)
    table = joint_table(Chain(even, [one], ONE, ONE, usual.constant, np.radians([10.0]), SHARP))
    assert np.ptp(np.diag(table)) < 0.05
    heading = (wrapped(FINE) == 0)[None] * 1.0
    table = joint_table(Chain(heading, [one], ONE, ONE, usual.constant, np.radians([10.0]), SHARP))
    assert np.ptp(np.diag(table)) < 0.01 and table[0, 0] - table[0, F // 2] > 3


def test_headings_in_a_row_help_each_other_and_not_over_a_gap():
    log = np.zeros((HEADINGS, HEADINGS))
    flat = Posture(log, np.zeros((0, *log.shape)), np.zeros(0), log, 1e6, 0.0)
    heading = np.full((2, F), 1 / F)
    heading[0] = np.exp(-0.5 * (wrapped(FINE - GRID[9]) / 0.2) ** 2)
    none = np.zeros(0)
    two = Chain(heading, [flat, flat], np.array([False, True]), np.zeros(2, bool), none, np.zeros(2), SHARP)
    together = smoothed(two, 0, 0)
    assert wrapped(together[1] - GRID[9]) == pytest.approx(0.0, abs=0.02)
    alone = Chain(heading[1:], [flat], ONE, ONE, none, np.zeros(1), SHARP)
    assert np.abs(np.sum(alone.by_heading(0, 0, 0) * np.exp(1j * GRID))) < 1e-6


def test_the_declared_pose_counts_once_and_no_habit_blurs_it():
    """One heading of the joint is known; the pose, or a piece in motion, says how the child faces to 10°."""
    log = np.zeros((HEADINGS, HEADINGS))
    third = np.tile(GRID[:, None], (1, HEADINGS))
    one = Posture(log, np.zeros((0, *log.shape)), np.zeros(0), third, np.radians(10.0) ** 2, 0.0)
    heading = np.where(wrapped(FINE) == 0, 1.0, 1e-12)[None]
    spread = {}
    for posed in (True, False):
        posture = replace(one, habit=0) if posed else one
        turn = np.radians([40.0])
        chain = Chain(heading, [posture], ONE, np.array([posed]), np.zeros(0), turn, SHARP)
        p = np.exp(joint_table(chain)[0])
        spread[posed] = np.sqrt(np.sum(p * wrapped(FINE) ** 2) / p.sum())
    assert spread[True] == pytest.approx(np.radians(10.0), rel=0.05)
    assert np.radians(35.0) < spread[False] < np.radians(55.0)


def upright(mean: np.ndarray, precision: np.ndarray) -> Prior:
    """Of arms whose units can't lean."""
    return Prior(mean, precision, np.zeros(0, int), np.zeros(0))


def test_arms_are_as_sure_as_errors_that_last_a_piece_allow():
    """The tissue of each piece answers what it is under in a way of its own; squares over the covariance."""
    rng, squares = np.random.default_rng(0), []
    count, S = 12, 8
    apart = pieces_apart(S, count)
    true = np.array([0.0, -0.15, 0.03, 0.02, 0.2, 0.0])
    prior, soft = upright(true, np.eye(6) / 0.1**2), []
    for _ in range(20):
        swing = np.tile(np.sin(np.linspace(0, 2 * np.pi, count)), S)[:, None, None]
        lever = rng.normal(scale=3.0, size=(2, S * count, 3, 3))
        lever += 15.0 * swing * np.repeat(rng.normal(size=(2, S, 3, 3)), count, 1)
        felt = rng.normal(scale=1.0, size=(S * count, 3)) + np.array([0.0, 9.81, 0.0])
        force = np.stack([felt - apply(L, r) for L, r in zip(lever, true.reshape(2, 3), strict=True)], 1)
        answer = np.repeat(rng.normal(scale=0.05, size=(S, 3, 3)), count, 0)
        force[:, 1] += apply(answer, lever[1] @ true[3:])
        known = np.ones((S * count, 2), bool)
        average = SimpleNamespace(force=force, lever=np.moveaxis(lever, 0, 1), known=known)
        start = replace(prior, mean=true + 0.1 * rng.standard_normal(6))
        (found,), _ = arms_of(average, [((0, 1), apart)], start, 1.0, 9.81)  # type: ignore[arg-type]
        off = found.arm.ravel() - true
        squares.append(off @ np.linalg.solve(found.covariance, off))
        moved, wrong = felt - [0.0, 9.81, 0.0], apply(answer, lever[1] @ true[3:])
        soft.append(found.soft / (BY_DISAGREEMENT * np.sqrt(np.mean(wrong**2) / np.mean(moved**2))))
    assert 1.0 < np.mean(squares) < 9.0
    assert 0.7 < np.mean(soft) < 1.1  # arms take a part of what tissue does


def test_arms_of_two_joints_of_a_unit_help_each_other():
    """One joint moves; the other, of which nothing is felt, lies beside it as the prior says."""
    rng, apart = np.random.default_rng(0), pieces_apart(3, 20)
    lever, true = rng.normal(scale=3.0, size=(60, 3, 3, 3)), np.array([0.1, -0.2, 0.05])
    felt = rng.normal(size=(60, 3)) + np.array([0.0, 9.81, 0.0])
    force = np.repeat(felt[:, None], 3, 1)
    force[:, 0] -= apply(lever[:, 0], true)
    known = np.tile([True, True, False], (60, 1))
    average = SimpleNamespace(force=force, lever=lever * [[[1.0]], [[0.0]], [[0.0]]], known=known)
    together = np.full((12, 12), 0.0)
    for a, b in itertools.product((0, 6), repeat=2):  # arms of the parent of both joints
        together[a : a + 3, b : b + 3] = 0.3**2 * np.eye(3)
    prior = upright(np.zeros(12), np.linalg.inv(together + 0.01**2 * np.eye(12)))
    joints = [((0, 1), apart), ((0, 2), apart)]
    (moving, still), _ = arms_of(average, joints, prior, 1.0, 9.81)  # type: ignore[arg-type]
    np.testing.assert_allclose(moving.arm[0], true, atol=0.02)
    np.testing.assert_allclose(still.arm[0], true, atol=0.02)
    assert np.sqrt(still.covariance[0, 0]) < 0.05 and still.soft == BY_DISAGREEMENT


def leaning(degrees: float, usually: float, times: int = 1) -> Lean:
    """What is found of a unit between two joints 0.3 m apart, in a pose held so far askew.

    The same motion comes so many times.
    """
    rng, apart = np.random.default_rng(0), pieces_apart(3 * times, 20)
    up = np.array([np.sin(np.radians(degrees)), np.cos(np.radians(degrees)), 0.0])
    true = np.stack([0.15 * up, -0.15 * up])
    lever = np.zeros((60, 3, 3, 3))
    lever[:, 0] = rng.normal(scale=3.0, size=(60, 3, 3))
    felt = rng.normal(size=(60, 2, 3)) + np.array([0.0, 9.81, 0.0])
    own = felt[:, 0] - apply(lever[:, 0], true[0])
    felt[:, 1] = own + apply(lever[:, 0], true[1])
    average = SimpleNamespace(
        force=np.tile(np.stack([own, felt[:, 0], felt[:, 1]], 1), (times, 1, 1)),
        lever=np.tile(lever, (times, 1, 1, 1)),
        known=np.ones((60 * times, 3), bool),
    )
    mean = np.array([0, 0.15, 0, 0, 0, 0, 0, -0.15, 0, 0, 0, 0])
    upright = np.diag(np.tile([1e4, 1e2, 1e4, 1e8, 1e8, 1e8], 2))
    both = np.zeros((12, 14))
    both[:, :12] = np.eye(12)
    both[[0, 2, 6, 8], [12, 13, 12, 13]] = -0.15, -0.15, 0.15, 0.15
    prior = Prior(np.r_[mean, 0, 0], both.T @ upright @ both, np.array([0]), np.array([np.radians(usually)]))
    return arms_of(average, [((0, 1), apart), ((0, 2), apart)], prior, 1.0, 9.81)[1]  # type: ignore[arg-type]


def test_joints_of_a_segment_show_how_far_its_pose_was_held_askew():
    found = leaning(25.0, 6.0)
    np.testing.assert_allclose(
        np.degrees(found.toward[0]), [24.2, 0.0], atol=4.0
    )  # sin 25°, held by its prior
    assert found.sd[0] < np.radians(4.0) and found.askew > 1.5


def test_the_same_motion_again_tells_no_more():
    """Its errors are the same again: steps on stairs must not outvote the body's build."""
    once, often = leaning(25.0, 6.0), leaning(25.0, 6.0, times=5)
    np.testing.assert_allclose(often.sd, once.sd, rtol=1e-6)
    np.testing.assert_allclose(often.toward, once.toward, atol=1e-6)


def test_a_pose_is_not_taken_for_better_held_than_people_hold_it():
    found = leaning(0.0, 6.0)
    np.testing.assert_allclose(found.toward, 0.0, atol=0.02)
    assert found.askew == 1.0


def test_mountings_are_put_right_by_where_length_axes_point():
    """One leans forward; the other is known by gravity alone, in a pose held twice as badly as usual."""
    level = by_gravity(np.tile(np.eye(3), (2, 1, 1)), np.radians([3.0, 6.0]), np.ones(2, bool))
    right = righted(level, Lean(np.array([0]), np.array([[0.5, 0.0]]), np.array([0.01]), 2.0))
    up = np.array([0.5, 1.0, 0.0]) / np.hypot(0.5, 1.0)
    np.testing.assert_allclose(right.matrix[0] @ up, [0, 1, 0], atol=1e-12)
    np.testing.assert_allclose(right.matrix[1], np.eye(3))
    np.testing.assert_allclose(right.sd, [0.01, np.radians(12.0)])
    np.testing.assert_allclose(right.leant, [np.arctan(0.5), 0.0])
    # of the first all but nothing is known beforehand, so that joints alone say the same
    np.testing.assert_allclose(right.along[0], up, atol=0.01)
    assert right.along_sd[0] == pytest.approx(0.01, rel=0.01) and np.isnan(right.along_sd[1])


def test_tissue_that_turns_all_headings_alike_blurs_how_the_parent_faces():
    """The child hangs askew in a known direction, so that a heading says how the parent faces."""
    log = -0.5 * (wrapped(GRID[:, None] + GRID) / 0.15) ** 2
    one = Posture(log, np.zeros((0, *log.shape)), np.zeros(0), np.zeros_like(log), 1e6, 0.0)
    heading = np.where(wrapped(FINE) == 0, 1.0, 1e-12)[None]
    spread = []
    for soft in (SHARP, 0.4):
        chain = Chain(heading, [one], ONE, ONE, np.zeros(0), np.array([SHARP]), soft)
        p = np.exp(joint_table(chain)[:, 0])
        spread.append(np.sum(p * wrapped(FINE) ** 2) / p.sum())
    assert spread[1] - spread[0] == pytest.approx(0.4**2, rel=0.1)


def test_a_plane_of_bending_turned_for_good_blurs_both_units_together():
    """How child and parent face beside each other stays as sharp; how the parent faces does not."""
    log = -0.5 * (wrapped(GRID) / 0.2) ** 2 + np.zeros((HEADINGS, HEADINGS))  # how the parent faces
    third = np.tile(GRID[:, None] + GRID, (1, 1))
    one = Posture(log, np.zeros((0, *log.shape)), np.zeros(0), third, 0.15**2, 0.0)
    heading = np.where(wrapped(FINE) == 0, 1.0, 1e-12)[None]
    spread = {}
    for plane in (0.0, 0.4):
        chain = Chain(heading, [one], ONE, ONE, np.zeros(0), np.array([SHARP]), SHARP, plane)
        p = np.exp(joint_table(chain))
        p *= p > 1e-4  # without the floor
        beside = wrapped(FINE - FINE[:, None])
        parent = np.sum(p * wrapped(FINE)[:, None] ** 2) / p.sum()
        spread[plane] = parent, np.sum(p * beside**2) / p.sum()
    assert spread[0.4][0] - spread[0.0][0] == pytest.approx(0.4**2, rel=0.1)
    assert spread[0.4][1] == pytest.approx(spread[0.0][1], rel=0.02)


def test_habits_of_one_kind_blur_by_more_and_the_wearers_own_blurs_all_once():
    """Two pieces of either kind, each sharp by itself: 1 / (1/0² + 1/(0.5² − 0.3²)) = 0, and 0.3 for all."""
    log = np.zeros((HEADINGS, HEADINGS))
    one = Posture(log, np.zeros((0, *log.shape)), np.zeros(0), log, 0.15**2, 0.0)
    heading = np.tile(np.where(wrapped(FINE) == 0, 1.0, 1e-12), (2, 1))
    two = np.zeros(2, bool)

    def spread(*turns: float) -> float:
        chain = Chain(
            heading[: len(turns)],
            [one] * len(turns),
            two[: len(turns)],
            two[: len(turns)],
            np.zeros(0),
            np.array(turns),
            SHARP,
        )
        p = np.exp(joint_table(chain)[0]) * (np.abs(wrapped(FINE)) < 1.3)  # without the floor
        return float(np.sqrt(np.sum(p * wrapped(FINE) ** 2) / p.sum()))

    assert spread(0.3) == pytest.approx(np.hypot(0.3, 0.15 / np.sqrt(TEMPER)), rel=0.05)
    assert 0.3 < spread(0.3, 0.5) < spread(0.3)


def test_a_forearm_that_hangs_is_turned_as_usual_and_a_raised_one_may_be_as_its_work_asks():
    elbow = usual_of("r_elbow")
    assert elbow is not None
    assert elbow.third_at(0.9).constant < elbow.third_at(0.2).constant
    knee = usual_of("r_knee")
    assert knee is not None and knee.third_at(0.9) == knee.third_at(0.2)
    hanging, level = (
        np.tile(np.eye(3), (8, 1, 1)),
        np.tile(Rotation.from_euler("Z", 90, True).as_matrix(), (8, 1, 1)),
    )
    variance = [
        posture_of((hanging, child), BODY.joints["r_elbow"], elbow, 0.0, 2.0).variance
        for child in (hanging, level)
    ]
    assert variance[0] < variance[1] / 4


def test_hips_lie_side_by_side():
    M = heading_matrix(GRID[10])
    arms = [(M.T @ np.array([0.0, -0.05, z]), 1e-4 * np.eye(3)) for z in (-0.085, 0.085)]
    assert hips_evidence(np.eye(3), *arms).argmax() == 10 * FINER


@pytest.mark.parametrize("kind", ["level", "facing"])
def test_jacobians_of_the_evidence_by_finite_differences(kind):
    true = Rotation.random(random_state=3).as_matrix()
    off = exp(np.array([0.02, -0.3, -0.01]))
    e = (
        HeldLevel(0, 0, true[1], np.array([0.0, 1.0, 0.0]), 0.05)
        if kind == "level"
        else KnownFacing(0, true, 0.1)
    )

    def residual(turn: np.ndarray) -> np.ndarray:
        M = exp(turn) @ off @ true
        return e.residual(Guess(M[None], np.zeros(0), np.zeros((1, 3))))[0]

    J = e.residual(Guess((off @ true)[None], np.zeros(0), np.zeros((1, 3))))[1][0][2]
    steps = 1e-6 * np.eye(3)
    numeric = np.stack([(residual(d) - residual(-d)) / 2e-6 for d in steps], -1)
    np.testing.assert_allclose(J, numeric, atol=0.05)


def pieces(posed: list[bool], tilt: float = 0.05) -> Pieces:
    """One stretch, ten keyframes a piece."""
    S = len(posed)
    each = np.repeat(np.arange(S), 10)
    continued = np.r_[False, np.ones(S, bool)]
    one = np.arange(10 * S), 10 * np.arange(S), np.full(S, 10), each
    gap = np.array([*posed, False])  # and one piece after a gap
    at, first, count, of = one
    continued[-1] = False
    return Pieces(
        np.r_[at, at[-1] + 30 + np.arange(10)],
        np.r_[first, 10 * S],
        np.r_[count, 10],
        np.r_[of, np.full(10, S)],
        continued,
        gap,
        np.full(S + 1, tilt),
    )


def pieces_apart(S: int, count: int) -> Pieces:
    """S pieces of so many keyframes, a gap before each."""
    of, no = np.repeat(np.arange(S), count), np.zeros(S, bool)
    return Pieces(np.arange(len(of)), count * np.arange(S), np.full(S, count), of, no, no, np.full(S, 0.05))


def test_a_jerk_beside_the_pose_ties_nothing_and_some_seconds_of_movement_do():
    hard = 1e5  # 1/rad²: 0.2° if nothing were soft
    assert not tied(pieces([True, False]), np.array([0, hard, hard], complex))
    assert tied(pieces([True, False, False, False]), np.array([0, hard, hard, hard, hard], complex))
    assert not tied(pieces([True, False, False, False]), np.array([0, 1, 1, 1, hard], complex))


def test_a_heading_by_accelerations_is_vaguer_where_inclinations_are_rough():
    pull = np.full(2, 500.0 + 0j)
    sure, vague = heading_likelihood(pull, np.radians([1.0, 40.0]), np.radians(10.0))
    spread = [np.sqrt(np.sum(p * wrapped(FINE) ** 2)) for p in (sure, vague)]
    assert sure.sum() == pytest.approx(1) and vague.sum() == pytest.approx(1)
    assert spread[0] < np.radians(25) < np.radians(35) < spread[1]
    assert sure.argmax() == vague.argmax() == 0


@pytest.mark.parametrize("beside", [0.0, 2.0, 3.75])
@pytest.mark.parametrize("sharp", [1.0, 8.0])
def test_nothing_depends_on_where_headings_lie_beside_the_grid(beside, sharp):
    """A joint's heading, known far better than the grid is fine, in twelve pieces: the child faces there."""
    true, sd = np.radians(100.0 + beside), np.radians(sharp)
    heading = heading_likelihood(np.full(12, 1e5 * np.exp(1j * true)), np.zeros(12), sd)
    mean = np.angle(gathered(heading) @ np.exp(1j * GRID))
    np.testing.assert_allclose(mean, true, atol=np.radians(0.1))
    log, third = np.zeros((HEADINGS, HEADINGS)), np.tile(GRID[:, None], (1, HEADINGS))
    one = Posture(log, np.zeros((0, *log.shape)), np.zeros(0), third, np.radians(10.0) ** 2, 0.0)
    apart, no = np.zeros(12, bool), np.zeros(12)
    p = np.exp(joint_table(Chain(heading, [one] * 12, apart, apart, np.zeros(0), no, sd))[0])
    found = np.angle(p @ np.exp(1j * FINE))
    assert np.degrees(wrapped(found - true)) == pytest.approx(0.0, abs=0.2)
