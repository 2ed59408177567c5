"""How softly units sit: gaps of joints from made disagreements, the window against its own sum."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.signal import welch

from bodyfit.alignment.joint_centre import Ends
from bodyfit.alignment.tissue_compliance import (
    BAND_HZ,
    USUAL,
    YIELD_M,
    feigned_turning,
    joint_gaps,
    softness,
    softness_of,
    spectral_density,
    window_response,
)
from bodyfit.recording.keyframe_averages import HALF_WINDOW_S, Averages

STEP = 0.1  # s between keyframes
UP_FORCE = np.array([0.0, 9.81, 0.0])


@pytest.mark.parametrize("f", [0.0, 0.4, 0.7, 1.3, 2.2, 2.5, 2.5 + 1e-12, 4.1])
def test_the_window_response_is_its_integral(f):
    """Fourier transform of the Hann window (scipy's quadrature), which is even, over its own area."""
    h = HALF_WINDOW_S

    def weighted(t):
        return (0.5 + 0.5 * np.cos(np.pi * t / h)) * np.cos(2 * np.pi * f * t)

    expected = quad(weighted, -h, h, epsabs=1e-13)[0] / h
    np.testing.assert_allclose(window_response(np.array([f])), expected, atol=1e-9)


def test_fewer_values_than_a_piece_give_the_density_of_a_spectrum_with_zeros_behind():
    values = np.random.default_rng(3).normal(size=(17, 2, 3)).cumsum(0)
    f, S = spectral_density(values, STEP, 80)
    expected_f, expected_S = welch(values, 1 / STEP, nperseg=17, nfft=80, axis=0)
    np.testing.assert_allclose(f, expected_f, rtol=1e-12)
    np.testing.assert_allclose(S, expected_S, rtol=1e-9)


@pytest.mark.parametrize(("count", "piece"), [(100, 100), (101, 64), (300, 65), (64, 63)])
def test_the_spectral_density_is_scipys(count, piece):
    values = np.random.default_rng(3).normal(size=(count, 2, 3)).cumsum(0)
    f, S = spectral_density(values, STEP, piece)
    expected_f, expected_S = welch(values, 1 / STEP, nperseg=piece, axis=0)
    np.testing.assert_allclose(f, expected_f, rtol=1e-12)
    np.testing.assert_allclose(S, expected_S, rtol=1e-9)


def oscillation(f, size, seconds=80.0):
    """Acceleration along X as the averages about keyframes show it: the window has taken its part."""
    time = np.arange(0.0, seconds, STEP)
    seen = size * np.sin(2 * np.pi * f * time) * window_response(np.array([f]))
    return np.stack([seen, 0 * seen, 0 * seen], -1)[:, None]


@pytest.mark.parametrize("f", [1.0, 1.5, 2.0])
def test_a_gap_is_the_acceleration_over_the_squared_frequency(f):
    """A path is a sin(2πft) / (2πf)², root mean square a / √2 / (2πf)².

    Welch's pieces smear a line over 1/8 Hz either side, which f⁻⁴ makes lopsided: 4 % at 1 Hz.
    """
    size = 0.7
    expected = size / np.sqrt(2) / (2 * np.pi * f) ** 2
    np.testing.assert_allclose(joint_gaps(oscillation(f, size), STEP), expected, rtol=0.04)


def test_gaps_add_in_squares_over_directions_and_stay_apart_over_joints():
    one = oscillation(1.5, 0.7)
    turned = one @ np.array([[0.6, 0.0, 0.8], [0.0, 1.0, 0.0], [-0.8, 0.0, 0.6]]).T
    both = joint_gaps(np.concatenate([turned, 2 * one], 1), STEP)
    np.testing.assert_allclose(both, joint_gaps(one, STEP) * [1.0, 2.0], rtol=1e-9)


@pytest.mark.parametrize("f", [0.25, 3.5])
def test_what_is_slower_or_faster_than_bodies_does_not_count(f):
    assert not BAND_HZ[0] < f < BAND_HZ[1]
    inside = 1 / np.sqrt(2) / (2 * np.pi) ** 2
    assert joint_gaps(oscillation(f, 1.0), STEP)[0] < 0.02 * inside


def test_softness_of_a_made_case():
    """At 3°/g a joint parts by s a b under √(a_p² + a_c²) = 5 m/s²; one loose unit does not decide."""
    s = np.radians(3.0) / 9.81
    pushed = np.array([[3.0, 4.0], [4.0, 3.0], [5.0, 0.0]])
    gaps = s * 5.0 * YIELD_M * np.array([1.0, 1.0, 40.0])
    assert softness(gaps, pushed) == pytest.approx(s)


def test_softness_without_joints_or_motion():
    assert softness(np.zeros(0), np.zeros((0, 2))) == 0.0
    assert softness(np.array([1e-5]), np.zeros((1, 2))) == pytest.approx(1e-4 / YIELD_M)


def test_a_unit_that_turns_with_the_load_feigns_its_second_derivative():
    """θ = s A sin 2πft about z: |θ̈|² is (2πf)⁴ s² A² / 2 on average, ⅔ of which counts."""
    s, f, size = 0.005, 0.5, 3.0
    force = oscillation(f, size) + UP_FORCE
    count = len(force)
    known = np.ones((count, 1), bool)
    average = Averages(force, np.zeros((count, 1, 3, 3)), np.zeros_like(force), known, known)
    found = feigned_turning(average, UP_FORCE, s, STEP)[1:-1].mean()
    seen = size * window_response(np.array([f]))[0]
    expected = 2 / 3 * (s * seen * (2 * np.pi * f) ** 2) ** 2 / 2
    assert found == pytest.approx(expected, rel=0.03)  # differences of a tenth of a second


def test_nothing_is_feigned_by_what_was_not_measured():
    force = np.zeros((5, 1, 3))
    force[2] = 100.0
    known = np.array([1, 1, 0, 1, 1], bool)[:, None]
    average = Averages(force, np.zeros((5, 1, 3, 3)), force, known, known)
    assert not feigned_turning(average, np.zeros(3), 0.01, STEP).any()


def a_soft_joint(seconds, softness, known):
    """Two units on one joint, the child's forces off as tissue of that softness parts the joint."""
    rng = np.random.default_rng(5)
    time = np.arange(0.0, seconds, STEP)
    count = len(time)
    a = np.zeros((count, 3))
    for f in (
        0.9,
        1.2,
        1.6,
    ):  # made of what counts; a gap of s a b each, whose acceleration is (2πf)² as large
        a += rng.normal(scale=2.0, size=3) * np.sin(2 * np.pi * f * time + rng.uniform(0, 6))[:, None]
    change = -np.gradient(np.gradient(a, STEP, axis=0), STEP, axis=0)
    force = np.repeat((a + UP_FORCE)[:, None], 2, 1)
    force[:, 1] += softness * np.sqrt(2.0) * YIELD_M * change
    force[~known] = rng.normal(scale=30.0, size=force[~known].shape)  # what is made up in gaps
    felt = np.repeat(known[:, None], 2, 1)
    average = Averages(force, np.zeros((count, 2, 3, 3)), np.zeros_like(force), felt, felt)
    R = np.tile(np.eye(3), (count, 2, 1, 1))
    return softness_of(average, R, Ends(np.array([[0, 1]])), np.zeros((1, 2, 3)), UP_FORCE, STEP)


def test_softness_is_that_of_what_was_measured_and_gaps_show_none():
    """With pauses it is what it is without; what fills a pause would come out as ten times that."""
    time, s = np.arange(0.0, 120.0, STEP), np.radians(6.0) / 9.81
    whole = a_soft_joint(120.0, s, np.ones(len(time), bool))
    cut = a_soft_joint(120.0, s, time % 4.0 < 3.0)
    assert whole == pytest.approx(s, rel=0.3)
    assert cut == pytest.approx(whole, rel=0.15)


def test_stretches_too_short_to_show_it_count_with_the_usual_softness():
    time = np.arange(0.0, 60.0, STEP)
    assert a_soft_joint(60.0, 0.0, time % 1.5 < 0.8) == pytest.approx(USUAL)
    mixed = a_soft_joint(60.0, 0.0, (time % 1.5 < 0.8) | (time > 30.0))
    assert mixed == pytest.approx(USUAL * np.sqrt(16 / 46), rel=0.1)
