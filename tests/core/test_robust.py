"""Numbers of the normal distribution against scipy's, and standard deviations that outliers do not move."""

import numpy as np
import pytest
from scipy import stats

from bodyfit.core.robust import BAND_95, NORMAL_MEDIAN, SD_BY_MEDIAN, huber, normal_sums, robust_sd


def test_the_band_holds_95_percent_of_a_normal_distribution():
    assert pytest.approx(stats.norm.ppf(0.975), abs=1e-14) == BAND_95


def test_the_median_deviation_is_that_of_a_normal_distribution():
    assert pytest.approx(stats.norm.ppf(0.75), abs=5e-5) == NORMAL_MEDIAN
    assert pytest.approx(1 / stats.norm.ppf(0.75), abs=5e-5) == SD_BY_MEDIAN


def test_a_tenth_of_outliers_hardly_moves_the_standard_deviation():
    values = np.random.default_rng(0).normal(0.0, 2.0, (4000, 1, 3))
    assert robust_sd(values, 0.1)[0] == pytest.approx(2.0, rel=0.05)
    spoiled = values.copy()
    spoiled[:400] += 1000.0  # of a tenth the median absolute value is the normal's 0.5/0.9 quantile of |x|
    assert robust_sd(spoiled, 0.1)[0] == pytest.approx(
        2.0 * stats.norm.ppf(0.5 + 0.25 / 0.9) / stats.norm.ppf(0.75), rel=0.05
    )
    assert robust_sd(0 * values, 0.1)[0] == 0.1


def test_huber_weights_give_the_gradient_of_the_huber_loss():
    """Weight times residual is dρ/dr, with scipy's Huber loss, knee 1.5 (scipy.special.huber)."""
    from scipy.special import huber as loss

    r, h = np.linspace(-6, 6, 40), 1e-6
    slope = (loss(1.5, r + h) - loss(1.5, r - h)) / (2 * h)
    np.testing.assert_allclose(huber(r[:, None], 1.0) * r, slope, atol=1e-6)


def test_normal_sums_are_those_of_the_stacked_rows():
    rng = np.random.default_rng(2)
    A, w, z = rng.standard_normal((5, 3, 4)), rng.uniform(0, 1, 5), rng.standard_normal((5, 3))
    W = np.diag(np.repeat(w, 3))
    H, b = normal_sums(A, w, z)
    np.testing.assert_allclose(H, A.reshape(-1, 4).T @ W @ A.reshape(-1, 4))
    np.testing.assert_allclose(b, A.reshape(-1, 4).T @ W @ z.ravel())
