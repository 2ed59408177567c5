"""Standing and moving: against a plain forward-backward recursion, and at any pace."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.feet.contact import STAY, _smoothed, log_energies, stances
from bodyfit.feet.samples import HZ, PER_KEY, foot_samples, start_rotations
from tests.feet.stepping import stepping


def test_prefix_products_give_the_recursion_of_the_textbook():
    """Rabiner 1989, doi:10.1109/5.18626, eq. 19 to 27, written out in a loop."""
    e = np.random.default_rng(0).uniform(1e-6, 1, (200, 2))
    M = np.array([[STAY, 1 - STAY], [1 - STAY, STAY]])
    a, b = np.ones_like(e), np.ones_like(e)
    a[0] = e[0] / e[0].sum()
    for k in range(1, len(e)):
        a[k] = (a[k - 1] @ M) * e[k]
        a[k] /= a[k].sum()
    for k in range(len(e) - 2, -1, -1):
        b[k] = M @ (e[k + 1] * b[k + 1])
        b[k] /= b[k].sum()
    expected = a * b / (a * b).sum(1, keepdims=True)
    np.testing.assert_allclose(_smoothed(e), expected, atol=1e-9)


@pytest.mark.parametrize("period", [0.6, 1.1, 2.0])
def test_every_stance_is_found_at_any_pace(period):
    made = stepping(period=period)
    samples = foot_samples(made.unit, 9.80665)
    pushed = start_rotations(samples) @ samples.force[..., None]
    energies = log_energies(samples.rate(), pushed[..., 0] - [0, 9.80665, 0])
    found = stances(energies)
    assert len(found) == len(made.off) + 1
    middle = np.array([(a + b) / 2 for a, b in found[1:-1]]) * PER_KEY / HZ
    assert np.all(middle > made.strike[:-1]) and np.all(middle < made.off[1:])
