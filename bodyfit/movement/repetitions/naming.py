"""Which of several known movements a bounded piece is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...errors import InputError
from .convolutions import Convolutions, drawn
from .search import stretched
from .warping import aligned, spread

# Examples of every class from which convolutions are learnt (tried: on 8 of BasicMotions, where they name all
# of the pieces left out and the nearest example 0.95)
MANY = 8
SOFTEN = 0.05  # added to each feature's SD: one that hardly varies says little (chosen; not tried)
PENALTIES = 10.0 ** np.linspace(-1, 5, 13)  # of the ridge (by reasoning: from none to all)


@dataclass(frozen=True, eq=False)
class KnownMovements:
    """Movements learnt from examples, by which pieces are named.

    Attributes
    ----------
    names : of the movements
    examples : (e, samples, channels)
    labels : (e,) index of each example's movement
    ridge : convolutions, mean and scale of features, (features, movements) weights, offsets; None where there
        are few examples, and the nearest decides
    """

    names: tuple[str, ...]
    examples: np.ndarray
    labels: np.ndarray
    ridge: tuple[Convolutions, np.ndarray, np.ndarray, np.ndarray, np.ndarray] | None = None

    def scores(self, pieces: Sequence[np.ndarray]) -> np.ndarray:
        """(n, movements), larger is likelier, of pieces (samples, channels) each."""
        if self.ridge is None:
            return -self._distances(pieces)
        convolutions, mean, scale, weights, offset = self.ridge
        even = np.stack([stretched(np.asarray(p, float), self.examples.shape[1]) for p in pieces])
        return (convolutions.features(even.transpose(0, 2, 1)) - mean) / scale @ weights + offset

    def name(self, pieces: Sequence[np.ndarray]) -> tuple[str, ...]:
        """The likeliest movement of each piece.

        Parameters
        ----------
        pieces : (samples, channels) each, channels as in the examples

        Returns
        -------
        tuple of names
        """
        return tuple(self.names[i] for i in self.scores(pieces).argmax(1))

    def _distances(self, pieces: Sequence[np.ndarray]) -> np.ndarray:
        """(n, movements) elastic distance to the nearest example of each."""
        even = np.stack([stretched(np.asarray(p, float), self.examples.shape[1]) for p in pieces])
        flat = even.reshape(-1, even.shape[2])
        bounds = even.shape[1] * np.arange(len(even))[:, None] + np.array([0, even.shape[1]])
        each = np.stack([aligned(flat, y, bounds)[1] / max(spread(y), 1e-12) for y in self.examples], 1)
        return np.stack([each[:, self.labels == k].min(1) for k in range(len(self.names))], 1)


def known_movements(examples: Sequence[np.ndarray], movements: Sequence[str]) -> KnownMovements:
    """Movements learnt from bounded examples: the nearest of few; from eight of each a ridge.

    Parameters
    ----------
    examples : (samples, channels) each; brought to the length of the longest
    movements : name of each example's movement

    Returns
    -------
    KnownMovements

    Raises
    ------
    InputError
        There are fewer than two movements, or examples and names differ in number or channels.
    """
    if len(examples) != len(movements) or len({np.shape(x)[1] for x in examples}) > 1:
        raise InputError(
            f"examples: found {len(examples)} and {len(movements)} names; expected a name for each, and the "
            "same channels in all"
        )
    names, labels = np.unique(np.asarray(movements, str), return_inverse=True)
    if len(names) < 2:
        raise InputError(f"examples: found {len(names)} movement; expected two or more, to be told apart")
    longest = max(len(x) for x in examples)
    X = np.stack([stretched(np.asarray(x, float), longest) for x in examples])
    ridge = _ridge(X, labels, len(names)) if np.bincount(labels).min() >= MANY else None
    return KnownMovements(tuple(str(name) for name in names), X, labels, ridge)


def _ridge(X: np.ndarray, labels: np.ndarray, classes: int):
    """Regression of ±1 on features, its penalty by leaving one out (closed form)."""
    convolutions = drawn(X.transpose(0, 2, 1))
    features = convolutions.features(X.transpose(0, 2, 1))
    mean, scale = features.mean(0), features.std(0) + SOFTEN
    Z = (features - mean) / scale
    Y = np.where(labels[:, None] == np.arange(classes), 1.0, -1.0)
    offset = Y.mean(0)
    size, V = np.linalg.eigh(Z @ Z.T)
    size = np.maximum(size, 0.0)
    along = V.T @ (Y - offset)

    def left_out(penalty: float) -> float:
        kept = size / (size + penalty)
        error = (Y - offset - V @ (kept[:, None] * along)) / (1 - (V**2 * kept).sum(1))[:, None]
        return float((error**2).mean())

    penalty = min(PENALTIES, key=left_out)
    weights = Z.T @ (V @ (along / (size + penalty)[:, None]))
    return convolutions, mean, scale, weights, offset
