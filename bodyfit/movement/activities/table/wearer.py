"""The wearer's own ways: means of walking, stairs, standing and sitting found in the recording itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .table import WearerPrior

WINDOWS_APART = 10.0  # by reasoning: windows of 2.56 s every 0.25 s: about one in ten tells something new
LEAST_WINDOWS = 3.0  # summed probability from which an activity's mean is adapted (by reasoning)
FREEDOM = 20.0  # degrees of Student's t; tried: 4, 20, 100 on activity_waist_phone and its walking alone
LOWEST = -25.0  # log-likelihood below the best that counts as impossible (by reasoning)


@dataclass(frozen=True, eq=False)
class Ways:
    """Where a wearer's activities lie: (K, D) means and (K, D, D) covariances of windows about them.

    Notes
    -----
    Windows follow Student's t, so that turns and stumbles neither move a mean nor choose between two sets of
    means (Liu & Rubin 1995, Statistica Sinica 5:19, from memory).
    """

    mean: np.ndarray
    covariance: np.ndarray

    def log_likelihoods(self, values: np.ndarray) -> np.ndarray:
        """(T, K) of windows (T, D), without the constant that all share."""
        square, log_det = self._distances(values)
        return -(FREEDOM + values.shape[1]) / 2 * np.log1p(square / FREEDOM) - log_det / 2

    def trust(self, values: np.ndarray) -> np.ndarray:
        """(T, K) weight of each window (T, D) in a mean: about one, less the further out it is."""
        square, _ = self._distances(values)
        return (FREEDOM + values.shape[1]) / (FREEDOM + square)

    def _distances(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(T, K) squared Mahalanobis distances and (K,) logarithms of the determinants."""
        square, log_det = np.empty((len(values), len(self.mean))), np.empty(len(self.mean))
        for number, (mean, covariance) in enumerate(zip(self.mean, self.covariance, strict=True)):
            factor = np.linalg.cholesky(np.linalg.inv(covariance))
            square[:, number] = np.sum(((values - mean) @ factor) ** 2, 1)
            log_det[number] = -2 * np.log(np.diag(factor)).sum()
        return square, log_det


def expected_ways(prior: WearerPrior) -> Ways:
    """What is expected of somebody who has not been seen: the others' means, as wide as people differ.

    Returns
    -------
    Ways
    """
    number = np.arange(len(prior.mean))
    return Ways(prior.mean, prior.within + prior.between[number, :, number, :])


def centred_ways(prior: WearerPrior, values: np.ndarray, share: np.ndarray) -> Ways:
    """Means moved together so that their middle is the middle of the wearer's windows.

    Parameters
    ----------
    prior : of other people
    values : (T, D) windows
    share : (T,) probability that a window is one of these activities at all

    Returns
    -------
    Ways; a start for a recording that holds all of them, and wrong for one that holds a single one
    """
    total = max(float(share.sum()), 1e-9)
    offset = share @ values / total - prior.mean.mean(0)
    number = np.arange(len(prior.mean))
    common = prior.between[0, :, 1, :]
    moved = common @ np.linalg.solve(common + prior.within.mean(0) * WINDOWS_APART / total, offset)
    return Ways(prior.mean + moved, prior.within + prior.between[number, :, number, :] - common)


def adapted_ways(prior: WearerPrior, values: np.ndarray, share: np.ndarray) -> tuple[Ways, float]:
    """Means of the wearer given which windows are which.

    Parameters
    ----------
    prior : of other people
    values : (T, D) windows
    share : (T, K) probability of each activity in each window

    Returns
    -------
    Ways, and the logarithm of how probable such a wearer is, up to a constant of the prior

    Notes
    -----
    With b the offsets of all means, stacked, b ~ N(0, B) and the weighted mean of n windows of one activity
    ~ N(mean + b, W/n): b = B Sᵀ(S B Sᵀ + W/n)⁻¹ r, a conjugate Gaussian update (the maximum a posteriori
    adaptation of Gauvain & Lee 1994, doi:10.1109/89.279278, with correlated means; from memory).
    """
    K, D = prior.mean.shape
    count = share.sum(0)
    seen = np.flatnonzero(count > LEAST_WINDOWS)
    between = prior.between.reshape(K * D, K * D)
    if not len(seen):
        return expected_ways(prior), 0.0
    rows = (seen[:, None] * D + np.arange(D)).ravel()
    off = (share.T @ values)[seen] / count[seen, None] - prior.mean[seen]
    spread = between[np.ix_(rows, rows)].copy()
    for number, k in enumerate(seen):
        part = slice(number * D, (number + 1) * D)
        spread[part, part] += prior.within[k] * WINDOWS_APART / count[k]
    gain = np.linalg.solve(spread, between[rows]).T
    offset = gain @ off.ravel()
    left = (between - gain @ between[rows]).reshape(K, D, K, D)
    number = np.arange(K)
    likely = -0.5 * float(off.ravel() @ np.linalg.solve(spread, off.ravel()))
    return Ways(prior.mean + offset.reshape(K, D), prior.within + left[number, :, number, :]), likely
