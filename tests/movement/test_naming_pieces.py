"""Bounded pieces named by few examples and by many; convolutions against numpy's own."""

from __future__ import annotations

import numpy as np
import pytest
from repeated import shape

from bodyfit.errors import InputError
from bodyfit.movement.repetitions.convolutions import KERNELS, drawn
from bodyfit.movement.repetitions.naming import MANY, known_movements


def pieces(count: int, seed: int, noise: float = 0.1):
    """Lifts and turns of other lengths and sizes, and their names."""
    rng = np.random.default_rng(seed)
    names = ["lift", "turn"] * count
    out = []
    for name in names:
        one = rng.uniform(0.7, 1.3) * shape(name, np.linspace(0, 1, rng.integers(40, 70)))
        out.append(one + noise * rng.normal(size=one.shape))
    return out, names


@pytest.mark.parametrize("count", [1, 3, MANY, 2 * MANY])
def test_new_pieces_get_their_names(count):
    known = known_movements(*pieces(count, seed=1))
    assert (known.ridge is None) == (count < MANY)
    new, names = pieces(10, seed=2)
    assert list(known.name(new)) == names
    assert known.scores(new).shape == (20, 2)


def test_learning_twice_is_the_same():
    once, again = (known_movements(*pieces(MANY, seed=1)).scores(pieces(3, seed=4)[0]) for _ in range(2))
    assert (once == again).all()


def test_features_are_shares_of_numpys_convolution():
    X = np.random.default_rng(0).normal(size=(6, 1, 50))
    made = drawn(X)
    features = made.features(X[:1]).reshape(len(made.dilations), len(KERNELS), -1)
    for d, k in ((0, 0), (1, 40), (len(made.dilations) - 1, 83)):
        dilation = int(made.dilations[d])
        taps = np.zeros(8 * dilation + 1)
        taps[::dilation] = -1.0
        taps[np.array(KERNELS[k]) * dilation] = 2.0
        values = np.correlate(np.pad(X[0, 0], 4 * dilation), taps, "valid")
        expected = [(values > bias).mean() for bias in made.biases[d, k]]
        assert features[d, k] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("names", "words"), [(["lift"] * 4, "found 1 movement; expected two"), (["lift"], "a name for each")]
)
def test_examples_that_cannot_be_learnt_are_refused(names, words):
    with pytest.raises(InputError, match=words):
        known_movements(pieces(2, seed=0)[0], names)
