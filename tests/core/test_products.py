"""Matrices multiplied one after the other: by rows at once as one by one."""

from __future__ import annotations

import numpy as np
import pytest

from bodyfit.core.rotations import exp, products, vector_norm


@pytest.mark.parametrize("count", [0, 1, 2, 3, 8, 15, 16, 17, 100])
def test_products_are_those_one_by_one(count):
    steps, expected = exp(np.random.default_rng(count).normal(size=(count, 3))), [np.eye(3)]
    for step in steps:
        expected.append(expected[-1] @ step)
    np.testing.assert_allclose(products(steps), expected, atol=1e-13)


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_norms_of_vectors_are_numpys_bit_for_bit(width):
    v = np.random.default_rng(width).normal(size=(50, 7, width))
    np.testing.assert_array_equal(vector_norm(v), np.linalg.norm(v, axis=-1))
