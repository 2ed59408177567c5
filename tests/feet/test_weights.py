"""How much a far residual of a foot's path still counts."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.feet.weights import kernel


def test_at_the_knee_a_quarter_is_left_and_far_away_nothing():
    assert kernel(np.array([0.0, np.sqrt(1.5), 1e3]), 1.5) == pytest.approx([1.0, 0.25, 0.0], abs=1e-10)


def test_it_is_the_slope_of_a_cost_that_ends():
    """Geman & McClure 1985 (from memory): the weight is ρ'(z) / z of ρ = (z²/2) / (1 + z²/knee)."""
    z, step, knee = np.linspace(0.1, 5, 40), 1e-6, 1.5
    cost = lambda z: 0.5 * z**2 / (1 + z**2 / knee)  # noqa: E731
    slope = (cost(z + step) - cost(z - step)) / (2 * step)
    np.testing.assert_allclose(kernel(z, knee), slope / z, rtol=1e-6)
