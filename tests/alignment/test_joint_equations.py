"""Joint-centre equations: sums over time against scipy's least squares on the rows themselves."""

import numpy as np
import pytest
from scipy.optimize import lsq_linear
from scipy.spatial.transform import Rotation

from bodyfit.alignment.joint_equations import TURN_BASIS, arms_solved, by_heading, projected

RNG = np.random.default_rng(4)
PARENT, CHILD = RNG.standard_normal((2, 30, 3, 4))  # (lever matrix | force)
MEAN, SD = RNG.standard_normal(6), 0.7
HEADINGS = np.array([0.0, 0.4, 2.0, -1.3])


def turn(heading):
    return Rotation.from_euler("Y", heading).as_matrix()


def sums(heading):
    """Sums of parent and child, the child turned by a heading."""
    basis = [np.einsum("kai,ab,kbj->ij", PARENT, T, CHILD) for T in TURN_BASIS]
    pc = np.einsum("hb,bij->hij", by_heading(np.atleast_1d(heading)), basis)
    return np.einsum("kai,kaj->ij", PARENT, PARENT), pc, np.einsum("kai,kaj->ij", CHILD, CHILD)


@pytest.mark.parametrize("heading", HEADINGS)
def test_basis_makes_the_turn_about_the_vertical(heading):
    np.testing.assert_allclose(np.tensordot(by_heading(heading), TURN_BASIS, 1), turn(heading), atol=1e-15)


@pytest.mark.parametrize("heading", HEADINGS)
def test_arms_and_what_is_left_are_those_of_least_squares_on_all_rows(heading):
    turned = turn(heading) @ CHILD
    A = np.concatenate([PARENT[..., :3], -turned[..., :3]], -1).reshape(-1, 6)
    z = (turned[..., 3] - PARENT[..., 3]).ravel()
    A, z = np.concatenate([A, np.eye(6) / SD]), np.concatenate([z, MEAN / SD])
    expected = lsq_linear(A, z)
    H, b, c = projected(*sums(heading), MEAN, np.eye(6) / SD**2)
    arms, fall = arms_solved(H, b)
    np.testing.assert_allclose(arms[0], expected.x, atol=1e-10)
    assert c[0] - fall[0] == pytest.approx(2 * expected.cost)


def test_many_pairs_at_once_are_each_by_itself():
    pp, pc, cc = sums(HEADINGS)
    many = projected(
        np.stack([pp, 2 * pp])[:, None], np.stack([pc, pc]), np.stack([cc, cc])[:, None], MEAN, np.eye(6)
    )
    for k, factor in enumerate((1, 2)):
        for found, alone in zip(many, projected(factor * pp, pc, cc, MEAN, np.eye(6)), strict=True):
            np.testing.assert_allclose(found[k], alone)
