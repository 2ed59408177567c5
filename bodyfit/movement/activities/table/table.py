"""A trained table: logistic regression, and how far windows are from what it was trained on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST = 6.0  # standard deviations at which a feature is cut off: by reasoning, no outlier decides alone
FLOOR = -11.5  # log-probability below which nothing is believed: 1e-5, by reasoning


@dataclass(frozen=True, eq=False)
class WearerPrior:
    """How some activities look in other people, and how people differ: what a wearer is adapted from.

    Attributes
    ----------
    activities : K names
    features : D names
    mean : (K, D), over people
    within : (K, D, D) covariance of one person's windows about their own mean
    between : (K, D, K, D) covariance of people's own means
    """

    activities: tuple[str, ...]
    features: tuple[str, ...]
    mean: np.ndarray
    within: np.ndarray
    between: np.ndarray


@dataclass(frozen=True, eq=False)
class ActivityTable:
    """What was learnt from recordings of people, for one place on the body.

    Attributes
    ----------
    place : "waist", "thigh" or "calf"
    activities : K names
    features : F names
    centre, scale : (F,), which standardise features
    weights, offsets : (F, K) and (K,)
    prior : (K,) share of each activity in what it was trained on
    means : (K, F) standardised
    precision : (F, F) inverse of the pooled covariance
    usual_distance : (K,), 95 % of each activity's own windows are nearer than this
    wearers : priors from which a wearer's own ways are found
    """

    place: str
    activities: tuple[str, ...]
    features: tuple[str, ...]
    centre: np.ndarray
    scale: np.ndarray
    weights: np.ndarray
    offsets: np.ndarray
    prior: np.ndarray
    means: np.ndarray
    precision: np.ndarray
    usual_distance: np.ndarray
    wearers: tuple[WearerPrior, ...]

    def standardised(self, values: np.ndarray) -> np.ndarray:
        """(T, F) features in standard deviations of the training, cut off at `MOST`."""
        return np.clip((values - self.centre) / self.scale, -MOST, MOST)

    def log_probabilities(self, values: np.ndarray) -> np.ndarray:
        """(T, K) logarithm of each activity's probability, from features (T, F)."""
        score = self.standardised(values) @ self.weights + self.offsets
        score = score - score.max(1, keepdims=True)
        return score - np.log(np.exp(score).sum(1, keepdims=True))

    def distance(self, values: np.ndarray) -> np.ndarray:
        """(T,) how far windows (T, F) are from the nearest activity; 1 is as far as 5 % of its own windows.

        Notes
        -----
        Squared Mahalanobis distance by the pooled covariance over its 95 % quantile, least over activities.
        """
        whiten = np.linalg.cholesky(self.precision)
        z, m = self.standardised(values) @ whiten, self.means @ whiten
        square = np.sum(z**2, 1)[:, None] - 2 * z @ m.T + np.sum(m**2, 1)
        named = np.array([name != "other" for name in self.activities])
        return (square / self.usual_distance)[:, named].min(1)
