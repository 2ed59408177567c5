"""Mounting: every kind of evidence by itself, fused, what stays open, and how sure it says it is.

Chi-square bounds are scipy's quantiles, which agree with printed tables (7.815 at 95 %, 3 d.o.f.).
"""
# pyright: reportArgumentType=false, reportCallIssue=false

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.spatial.transform import Rotation
from scipy.stats import chi2

from bodyfit.alignment.evidence import (
    FixedTogether,
    GivenMounting,
    Guess,
    HeldPose,
    KnownPlace,
    SharedAxis,
    SharedCentre,
)
from bodyfit.alignment.fusion import fuse
from bodyfit.alignment.mounting import still_pose
from bodyfit.core.rotations import exp, heading_matrix, heading_of, mean_rotation

sys.path.append(str(Path(__file__).parents[2] / "docs"))
from mounting_honesty import KINDS, bounds, normalised

TIME = np.arange(0, 10, 0.1)
X, Y, Z = np.eye(3)
MOUNTINGS = Rotation.random(3, random_state=5)  # segment_from_unit of three units
DEG = np.pi / 180
SHARP = np.full(3, 0.1 * DEG)
NEUTRAL = (np.eye(3),) * 3


def degrees_off(found: np.ndarray, true: Rotation = MOUNTINGS) -> np.ndarray:
    return np.degrees((Rotation.from_matrix(found) * true.inv()).magnitude())


def posed(heading: float, segments=NEUTRAL, sd=SHARP, pose: int = 0) -> list[HeldPose]:
    """The three units in a pose, exactly held."""
    M = MOUNTINGS.as_matrix()
    return [
        HeldPose(pose, u, heading_matrix(heading) @ segments[u] @ M[u], segments[u], sd) for u in range(3)
    ]


def axis(units=(0, 1), along=Z, sd_deg: float = 0.1, signed: bool = True, sense: float = 1.0) -> SharedAxis:
    """A joint's axis as two units see it."""
    seen = np.stack([MOUNTINGS[u].inv().apply(sense * along) for u in units])
    return SharedAxis(units, seen, 1e-9 * np.eye(6), along, np.full(2, sd_deg * DEG), signed)


def given(unit: int, off_deg=(0.0, 0.0, 0.0), sd_deg: float = 5.0) -> GivenMounting:
    return GivenMounting(
        unit, (Rotation.from_rotvec(np.radians(off_deg)) * MOUNTINGS[unit]).as_matrix(), sd_deg * DEG
    )


# ---- poses ----


def test_still_pose_is_the_first_calm_half_second():
    rate = np.ones((100, 2))
    rate[30:45], rate[70:90] = 0.02, 0.0
    start, end = still_pose(TIME, rate)
    assert end - start == pytest.approx(0.5)
    assert start >= 2.95 - 1e-9 and end <= 4.45  # keyframes stand for ± 0.05 s


def test_still_pose_needs_every_unit_to_be_still():
    rate = np.ones((100, 2))
    rate[20:40, 0], rate[60:80, 1], rate[85:95] = 0.0, 0.0, 0.0
    start, end = still_pose(TIME, rate)
    assert start >= 8.45 - 1e-9 and end <= 9.45


def test_still_pose_is_the_calmest_stretch_where_nothing_is_still():
    rate = 1.0 + 0.5 * np.cos(2 * np.pi * TIME / 10)[:, None]  # calmest at 5 s
    start, end = still_pose(TIME, rate)
    assert start < 5.0 < end


def test_mean_rotation_is_scipys():
    R = Rotation.from_rotvec(0.4 * np.random.default_rng(2).normal(size=(40, 3)))
    mean = mean_rotation(R.as_matrix()[:, None])[0]
    np.testing.assert_allclose(mean, R.mean().as_matrix(), atol=1e-9)
    assert np.linalg.det(mean) == pytest.approx(1.0)


def test_heading_is_where_a_segment_points_or_its_right_side_where_that_is_upright():
    assert heading_of(heading_matrix(0.7)) == pytest.approx(0.7)
    bent = heading_matrix(0.7) @ Rotation.from_rotvec([0.0, 0.0, 0.5]).as_matrix()
    assert heading_of(bent) == pytest.approx(0.7)
    lying = heading_matrix(0.7) @ Rotation.from_rotvec([0.0, 0.0, np.pi / 2]).as_matrix()  # forward is up
    assert heading_of(lying) == pytest.approx(0.7)


# ---- each kind of evidence ----

CENTRE = SharedCentre(
    (0, 1), np.array([[0.1, -0.2, 0.05], [0.0, 0.2, 0.1]]), np.diag([1, 2, 3, 4, 5, 6.0]) * 1e-4,
    np.array([[0.1, -0.3, 0.0], [0.0, 0.1, 0.02]]), 0.01,
)  # fmt: skip
KINDS_OF = {
    "given": given(1, (4, -3, 8)),
    "pose": posed(0.7)[1],
    "centre": CENTRE,
    "place": KnownPlace(1, X, np.eye(3)),
    "fixed": FixedTogether((0, 2), Rotation.random(random_state=3).as_matrix(), 0.1),
}


@pytest.mark.parametrize("name", KINDS_OF)
def test_jacobians_are_those_of_finite_differences(name):
    """Scipy's approx_fprime on steps of every unknown."""
    evidence, rng = KINDS_OF[name], np.random.default_rng(1)
    at = Guess(
        exp(0.3 * rng.normal(size=(3, 3))) @ MOUNTINGS.as_matrix(), np.array([0.4]), rng.normal(size=(3, 3))
    )

    def value(x: np.ndarray) -> np.ndarray:
        moved = Guess(
            exp(x[:9].reshape(3, 3)) @ at.mounting, at.facing + x[9:10], at.place + x[10:].reshape(3, 3)
        )
        return evidence.residual(moved)[0]

    by_hand = np.zeros((len(value(np.zeros(19))), 19))
    first = {"mounting": (0, 3), "facing": (9, 1), "place": (10, 3)}
    for unknown, index, block in evidence.residual(at)[1]:
        start, width = first[unknown]
        by_hand[:, start + width * index : start + width * (index + 1)] += block
    np.testing.assert_allclose(by_hand, approx_fprime(np.zeros(19), value, 1e-7), atol=2e-6)


@pytest.mark.parametrize("heading", [0.0, 1.2, -2.8])
def test_a_pose_and_one_given_mounting_settle_all_the_others(heading):
    found = fuse([given(1, sd_deg=0.1), *posed(heading)], 3, 1)
    assert degrees_off(found.guess.mounting).max() < 1e-3
    assert np.angle(np.exp(1j * (found.guess.facing[0] - heading))) == pytest.approx(0, abs=1e-5)


def test_a_seated_pose_says_as_much_as_a_standing_one():
    thigh = Rotation.from_euler("z", 90, degrees=True).as_matrix()
    seated = [np.eye(3), thigh, np.eye(3)]
    found = fuse([given(0, sd_deg=0.1), *posed(0.4, seated)], 3, 1)
    assert degrees_off(found.guess.mounting).max() < 1e-3


@pytest.mark.parametrize("heading", [0.4, -2.0])
def test_a_flexion_axis_shows_which_way_the_body_faces(heading):
    found = fuse([axis(), *posed(heading)], 3, 1)
    assert degrees_off(found.guess.mounting).max() < 1e-3


def test_an_axis_of_known_sense_decides_that_of_one_that_is_only_a_line():
    found = fuse([axis((1, 2), signed=False, sense=-1.0), axis(), *posed(0.4)], 3, 1)
    assert degrees_off(found.guess.mounting).max() < 1e-3
    assert found.rival is None


def test_two_axes_settle_a_segment_and_one_leaves_the_turn_about_it_open():
    rough = posed(0.4, sd=np.full(3, 60 * DEG))
    found = fuse([axis((0, 1), X), axis((1, 2), Z), *rough], 3, 1)
    assert degrees_off(found.guess.mounting)[1] < 0.5
    sd = np.degrees(np.sqrt(np.einsum("uii->ui", found.covariance)))
    assert sd[1].max() < 0.5
    assert sd[0, 0] > 20 and sd[0, 1:].max() < 0.5
    assert sd[2, 2] > 20 and sd[2, :2].max() < 0.5


def test_with_nothing_known_of_the_heading_inclinations_are_right_and_the_rest_is_wide():
    found = fuse(posed(1.0), 3, 1)
    left = Rotation.from_matrix(found.guess.mounting) * MOUNTINGS.inv()
    np.testing.assert_allclose(left.as_rotvec()[:, [0, 2]], 0, atol=1e-6)
    sd = np.degrees(np.sqrt(np.einsum("uii->ui", found.covariance)))
    assert sd[:, 1].min() > 45 and sd[:, [0, 2]].max() < 1


def test_two_joint_centres_show_the_line_between_them():
    """A lever arm to either end: the turn about their difference stays open, the others do not."""
    M, place = MOUNTINGS[1], np.array([0.03, 0.01, 0.02])
    ends = np.array([[0.0, 0.0, 0.0], [0.0, -0.4, 0.0]])
    arms = M.inv().apply(ends - place)
    nothing = np.full(3, np.nan)
    tight = 1e-6 * np.eye(6)
    found = fuse(
        [
            SharedCentre((0, 1), np.stack([X, arms[0]]), tight, np.stack([nothing, ends[0]]), 1e-3),
            SharedCentre((1, 2), np.stack([arms[1], X]), tight, np.stack([ends[1], nothing]), 1e-3),
            given(1, (10, 10, 10), 30.0),
        ],
        *(3, 0),
    )
    off = (Rotation.from_matrix(found.guess.mounting[1]) * M.inv()).as_rotvec(degrees=True)
    assert np.abs(off[[0, 2]]).max() < 1.0
    assert np.sqrt(found.covariance[1, 1, 1]) > 5 * np.sqrt(found.covariance[1, 0, 0])


def test_a_fixed_joint_hands_a_mounting_on():
    relative = (MOUNTINGS[0].inv() * MOUNTINGS[1]).as_matrix()
    found = fuse([given(0, sd_deg=0.1), FixedTogether((0, 1), relative, 0.1 * DEG)], 3, 0)
    assert degrees_off(found.guess.mounting)[:2].max() < 1e-3


def test_a_given_mounting_that_all_else_contradicts_is_let_go():
    wrong = given(1, (0, 0, 90))
    found = fuse([wrong, given(0), given(2), axis((0, 1), X, 1), axis((1, 2), Y, 1)], 3, 0)
    assert degrees_off(found.guess.mounting)[1] < 5
    assert found.weight[0] < 0.05


def test_units_that_were_given_well_are_believed_more_and_badly_given_ones_widen_the_rest():
    def sd_of_the_last(off):
        stated = [given(0, off), given(1, off), given(2)]
        return np.degrees(
            np.sqrt(fuse([*stated, axis((0, 1), X, 1), axis((0, 1), Y, 1)], 3, 0).covariance[2, 0, 0])
        )

    assert sd_of_the_last((0, 0, 0)) < 3.5
    assert sd_of_the_last((8, 8, 8)) > 6


def test_covariances_are_those_of_monte_carlo():
    """Errors drawn as stated: the mean of φᵀ C⁻¹ φ lies within its 99 % chi-square bounds."""
    rng, n, total = np.random.default_rng(4), 60, 0.0
    for _ in range(n):
        evidence = []
        for held in posed(0.4, sd=np.full(3, 3 * DEG)):
            shaken = Rotation.from_rotvec(3 * DEG * rng.normal(size=3)).as_matrix()
            R = heading_matrix(0.4) @ shaken @ held.segment @ MOUNTINGS[held.unit].as_matrix()
            evidence.append(HeldPose(0, held.unit, R, held.segment, held.sd))
        evidence.append(given(0, 5 * rng.normal(size=3)))
        found = fuse(evidence, 3, 1)
        off = (MOUNTINGS[1] * Rotation.from_matrix(found.guess.mounting[1]).inv()).as_rotvec()
        total += off @ np.linalg.solve(found.covariance[1], off)
    low, high = chi2.ppf([0.005, 0.995], 3 * n) / n
    assert low < total / n < high


@pytest.mark.parametrize("kind", KINDS[:2])
def test_mountings_of_simulated_captures_are_as_sure_as_they_say(kind):
    """Six whole captures with soft tissue; 200 are run by docs/mounting_honesty.py."""
    squared = np.array([one for one, _ in normalised(kind, range(6))])
    low, high = bounds(6, share=0.99)
    assert low < squared.mean() < high
