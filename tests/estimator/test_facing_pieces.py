"""A joint's recording cut into pieces, and what is known of its arms beforehand, worked by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.alignment.facing.lean import by_gravity
from bodyfit.alignment.facing.pieces import Pieces
from bodyfit.alignment.facing.usual import usual_of
from bodyfit.body.parts import Joint
from bodyfit.estimator.initial.facing.arm_prior import ACROSS, ALONG, CENTRE_ACROSS, CENTRE_SD, arm_prior
from bodyfit.estimator.initial.facing.cut import LARGEST_TILT, PIECE_S, SPEED, pieces_of
from bodyfit.estimator.initial.facing.search import _Joint, _level
from bodyfit.estimator.problem.tie import Tie

G, STEP, COUNT = 9.81, 0.1, 200
TIE = Tie(Joint("j", "a", "b"), 0, 1)


def cut(lost=(), posed=(), force=0.0):
    """Pieces of twenty seconds with gaps and a pose at these keyframes, and how much both units move."""
    gaps, in_pose = np.zeros((COUNT - 1, 2), bool), np.zeros(COUNT, bool)
    gaps[list(lost), 1], in_pose[list(posed)] = True, True
    around = np.r_[False, gaps.any(1)] & np.r_[gaps.any(1), False]
    problem: Any = SimpleNamespace(
        signals=SimpleNamespace(lost=gaps, key_step=STEP), g=G, watched=lambda units: ~around
    )
    felt = np.tile([force, G, 0.0], (COUNT, 2, 1))
    return pieces_of(problem, SimpleNamespace(force=felt), TIE, in_pose)  # type: ignore[arg-type]


def test_pieces_last_some_three_seconds_and_hold_every_keyframe_once():
    found = cut()
    np.testing.assert_array_equal(found.at, np.arange(COUNT))
    assert (np.abs(found.count * STEP - PIECE_S) < 0.5).all()
    np.testing.assert_array_equal(found.first, np.r_[0, np.cumsum(found.count)[:-1]])
    assert list(found.continued) == [False] + [True] * (len(found.count) - 1)


def test_a_gap_ends_a_piece_and_the_pose_is_one_by_itself():
    found = cut(lost=range(90, 110), posed=range(10, 40))
    assert not set(range(91, 110)) & set(found.at)
    after = int(np.flatnonzero(found.at[found.first] >= 110)[0])
    assert [k for k in range(len(found.count)) if not found.continued[k]] == [0, after]
    (pose,) = np.flatnonzero(found.posed)
    np.testing.assert_array_equal(found.keyframes(pose), np.arange(10, 40))
    assert found.tilt[pose] == 0 and (found.tilt[~found.posed] > 0).all()


def test_what_moves_more_and_shorter_stretches_may_start_more_tilted():
    """Δv / (g T): half a metre a second over twenty seconds at rest."""
    assert cut().tilt == pytest.approx(SPEED / (G * COUNT * STEP))
    assert (cut(force=20.0).tilt > 3 * cut().tilt).all()
    short = cut(lost=range(7, 100))
    assert short.tilt[0] == pytest.approx(SPEED / (G * short.count[0] * STEP)) and short.count[0] < 10
    assert cut(lost=range(7, 100), force=100.0).tilt[0] == pytest.approx(LARGEST_TILT)


def test_arms_lie_along_the_vertical_that_is_known():
    """The parent's joint is 0.4 m below its frame, its middle 0.2 m: 0.2 m down, in the frame of the unit."""
    centre = np.array([0.0, -0.4, 0.0])
    tie = Tie(Joint("j", "a", "b", centre_in_parent=centre, centre_in_child=np.zeros(3)), 0, 1)
    turned = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])  # the unit's X is the segment's Y
    problem: Any = SimpleNamespace(ties=[tie])
    prior = arm_prior(
        problem, [tie], by_gravity(np.stack([turned, np.eye(3)]), np.full(2, 0.1), np.ones(2, bool))
    )
    np.testing.assert_allclose(prior.mean[:6], [-0.2, 0, 0, 0, 0, 0], atol=1e-12)
    wide, along = 1 / (ACROSS**2 + CENTRE_ACROSS**2), 1 / (ALONG**2 + CENTRE_SD**2)
    np.testing.assert_allclose(np.diag(prior.precision)[:6], [along, wide, wide, wide, along, wide])


def test_arms_of_one_unit_go_together_as_units_worn_anyhow_have_them():
    """Against the covariance of 200,000 draws of where a unit sits, how it faces and how its pose leans."""
    rng, count = np.random.default_rng(0), 200_000
    centres = np.array([[0.1, -0.3, 0.09], [-0.05, 0.2, -0.12]])
    ties = [
        Tie(Joint(n, "a", n, centre_in_parent=c, centre_in_child=np.zeros(3)), 0, k + 1)
        for k, (n, c) in enumerate(zip("bc", centres, strict=True))
    ]
    level = Rotation.from_rotvec(rng.normal(size=(3, 3))).as_matrix()
    problem: Any = SimpleNamespace(ties=ties)
    lean = np.radians(6.0)
    prior = arm_prior(problem, ties, by_gravity(level, np.full(3, lean), np.ones(3, bool)))
    precision = prior.precision + np.diag(np.r_[np.zeros(12), np.full(6, lean**-2.0)])
    place = rng.normal(size=(count, 3)) * [ACROSS, ALONG, ACROSS] + [0.0, -0.1 / 3, 0.0]
    turn = Rotation.from_euler("Y", rng.uniform(-np.pi, np.pi, (count, 1)))
    scatter, toward = np.array([CENTRE_ACROSS, CENTRE_SD, CENTRE_ACROSS]), lean * rng.normal(size=(count, 2))
    leaning = np.insert(toward, 1, 0.0, axis=1)
    arms = [
        (turn.apply(c - place) + scatter * rng.normal(size=(count, 3)) + (c[1] + 0.1 / 3) * leaning)
        @ level[0]
        for c in centres
    ]
    arms.append(toward)
    own = [0, 1, 2, 6, 7, 8, 12, 13]
    np.testing.assert_allclose(prior.mean[own], np.concatenate([a.mean(0) for a in arms]), atol=2e-3)
    drawn = np.cov(np.concatenate(arms, 1).T)
    np.testing.assert_allclose(np.linalg.inv(precision)[np.ix_(own, own)], drawn, atol=3e-4)


def test_a_forearms_habit_is_one_where_it_hangs_and_one_where_it_is_raised():
    """Hanging straight, hanging bent by 40°, raised level; the upper arm hangs, tilted for good by 6°."""
    usual, no, tilt = usual_of("r_elbow"), np.zeros(3, bool), np.radians([6.0, 6.0])
    assert usual is not None and usual.hanging is not None
    bent = Rotation.from_euler("Z", [[0.0], [40.0], [90.0]], True).as_matrix()
    pieces = Pieces(np.arange(3), np.arange(3), np.ones(3, int), np.arange(3), no, no, np.zeros(3))
    arms: Any = SimpleNamespace(pull=np.ones(3, complex))
    found = _Joint(0, pieces, arms, usual, tilt).turn(np.tile(np.eye(3), (3, 1, 1)), bent)
    hanging = np.sqrt(usual.hanging.constant**2 + 6.0**2 * np.sin(np.radians(40.0)) ** 2 / 2)
    raised = np.hypot(usual.third.constant, 6.0)
    np.testing.assert_allclose(np.degrees(found), [hanging, hanging, raised])


def test_a_unit_that_missed_the_pose_is_not_levelled_by_what_fills_its_gap():
    """It counted as level: a foot, its stamps moved out of the pose, came out 63° off, said to be 17°."""
    K, tilted = 20, Rotation.from_rotvec([0.0, 0.0, 1.2]).as_matrix()
    R = np.tile(np.stack([tilted, np.eye(3)]), (K, 1, 1, 1))
    in_pose = np.arange(K) < 8
    seen = {(0,): np.arange(K) > 3, (1,): np.arange(K) > 10}
    R[:4, 0] = np.eye(3)  # before the first unit's own start
    problem: Any = SimpleNamespace(
        followed=np.ones(2, bool), given_mounting=[None, None], watched=lambda units: seen[units]
    )
    pose: Any = SimpleNamespace(segments=np.tile(np.eye(3), (2, 1, 1)), sd=np.full((2, 3), 0.1))
    level = _level(problem, R, pose, in_pose)
    assert level.known.tolist() == [True, False]
    np.testing.assert_allclose(level.matrix[0] @ tilted[1], [0, 1, 0], atol=1e-12)
