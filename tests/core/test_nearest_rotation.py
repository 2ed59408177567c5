"""Rotations nearest to matrices, against scipy; headings as complex numbers."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bodyfit.core.rotations import UP, as_complex, heading_matrix, mean_rotation, nearest_rotation


@pytest.mark.parametrize("seed", range(5))
def test_nearest_rotation_is_what_scipy_aligns_vectors_by(seed):
    rng = np.random.default_rng(seed)
    a, b = rng.standard_normal((2, 6, 3))
    weights = rng.uniform(0.5, 2.0, 6)
    theirs, _ = Rotation.align_vectors(a, b, weights)
    ours = nearest_rotation(np.einsum("n,ni,nj->ij", weights, a, b))
    np.testing.assert_allclose(ours, theirs.as_matrix(), atol=1e-10)


def test_a_reflection_has_a_proper_rotation_nearest_to_it():
    found = nearest_rotation(np.stack([np.diag([3.0, 2.0, -1.0]), np.diag([-3.0, -2.0, -1.0])]))
    np.testing.assert_allclose(np.linalg.det(found), 1.0)
    np.testing.assert_allclose(found[0], np.eye(3), atol=1e-12)
    np.testing.assert_allclose(found[1], np.diag([-1.0, -1.0, 1.0]), atol=1e-12)


def test_mean_rotation_is_scipys():
    rotations = Rotation.random(7, rng=np.random.default_rng(1)) ** 0.3
    found = mean_rotation(rotations.as_matrix()[:, None])[0]
    np.testing.assert_allclose(found, rotations.mean().as_matrix(), atol=1e-10)


def test_a_turn_about_the_vertical_multiplies_the_complex_number():
    v, angle = np.array([0.3, 5.0, -1.2]), 0.7
    turned = Rotation.from_rotvec(angle * UP).apply(v)
    assert as_complex(turned) == pytest.approx(as_complex(v) * np.exp(1j * angle))
    np.testing.assert_allclose(heading_matrix(np.array(angle)) @ v, turned)
