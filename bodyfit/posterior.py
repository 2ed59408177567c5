"""How sure the smoother is: covariance of the unknowns at every keyframe, constants included.

The unknowns x meet constants c that were held while the smoother stepped. Together their information is
[[H, B], [Bᵀ, C]]: H block tridiagonal, B a border, C with the constants' own prior. Some constants (lever
arms) were found between the steps: their covariance is Σ = (C − Bᵀ H⁻¹ B)⁻¹, and x has H⁻¹ + X Σ Xᵀ,
X = H⁻¹ B. Others were only allowed for: their errors e stay as they are, with the covariance P that they come
with, and draw the found ones along by T e, T = −Σ M, M the part of C − Bᵀ H⁻¹ B between the two.

Sources: Golub & Van Loan, Matrix Computations, 4th ed., sec. 3.2.11 (block elimination); Schmidt 1966,
doi:10.1016/B978-1-4831-6716-9.50011-4 (parameters considered, not estimated; from memory); for the blocks of
H⁻¹ see `smoother`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.linalg import solve_triangular

from .residuals import Linearised
from .smoother import Factored, assemble, chunks_of


def posterior(
    residuals: Sequence[Linearised],
    slots: int,
    keyframes: int,
    prior: np.ndarray,
    allowed: np.ndarray,
    visit: Callable[[int, np.ndarray, np.ndarray, np.ndarray], None],
) -> np.ndarray:
    """Covariance of the constants, and of the unknowns at every keyframe.

    Parameters
    ----------
    residuals : linearised at the solution
    slots : number of three-vectors per keyframe
    keyframes : K + 1
    prior : (q, q), information about the constants beforehand
    allowed : (q,) bool, constants that were only allowed for, not found
    visit : called as visit(k, S, X, Σ) for every keyframe, last first: the covariance of its n unknowns is
        S + X Σ Xᵀ, S (n, n), X (n, q), Σ (q, q)

    Returns
    -------
    (q, q) array, covariance of the constants' errors
    """
    chunks = chunks_of(slots, keyframes)
    n, q = 3 * slots, len(prior)
    carry, border, kept = (np.zeros((n, n)), np.zeros(n)), np.zeros((n, q)), []
    information = np.zeros((q, q))
    for index, chunk in enumerate(chunks):
        factored = Factored(assemble(residuals, slots, *chunk), carry)
        B = _border(residuals, slots, *chunk, q, border)
        kept.append((carry, border))
        Z = _forward(factored, B)
        information += _own(residuals, *chunk, q) - np.einsum("kni,knj->ij", Z, Z, optimize=True)
        if index < len(chunks) - 1:
            carry, border = factored.left_to_next(), -factored.last_below() @ Z[-1]
    sigma = _of_constants(information, prior, allowed)
    block, X = None, None
    for index in reversed(range(len(chunks))):
        a, b = chunks[index]
        if index < len(chunks) - 1:
            carry, border = kept[index]
            factored = Factored(assemble(residuals, slots, a, b), carry)
            Z = _forward(factored, _border(residuals, slots, a, b, q, border))
        block, X = _backward(factored, a, Z, block, X, lambda k, S, x: visit(k, S, x, sigma))
    return sigma


def _of_constants(information: np.ndarray, prior: np.ndarray, allowed: np.ndarray) -> np.ndarray:
    """(q, q) covariance of the constants' errors: found ones, and those that were only allowed for."""
    found, out = ~allowed, np.zeros(prior.shape)
    own = np.linalg.inv((information + prior)[np.ix_(found, found)])
    P = np.linalg.inv(prior[np.ix_(allowed, allowed)]) if allowed.any() else np.zeros((0, 0))
    T = -own @ information[np.ix_(found, allowed)]
    out[np.ix_(found, found)] = own + T @ P @ T.T
    out[np.ix_(found, allowed)] = T @ P
    out[np.ix_(allowed, found)] = (T @ P).T
    out[np.ix_(allowed, allowed)] = P
    return out


def _border(
    residuals: Sequence[Linearised], slots: int, start: int, end: int, q: int, carried: np.ndarray
) -> np.ndarray:
    """(k, n, q) information between the unknowns of a chunk and the constants."""
    out = np.zeros((end - start, slots, 3, q))
    for part in residuals:
        if part.constants is None:
            continue
        at, J_c = part.constants
        for into, shift, J_x in part.jacobians:
            own = slice(max(0, start - shift), max(0, end - shift))
            product = np.swapaxes(J_x[own], -1, -2) * part.weight[own, :, None, :] @ J_c[own]
            skip = shift if start == 0 else 0  # no interval ends at the very first keyframe
            rows = slice(skip, skip + len(product))
            for e, slot in enumerate(into):
                out[rows, slot, :, at[e]] += np.moveaxis(product[:, e], -1, 0)
    out = out.reshape(end - start, 3 * slots, q)
    out[0] += carried
    return out


def _own(residuals: Sequence[Linearised], start: int, end: int, q: int) -> np.ndarray:
    """(q, q) information about the constants themselves."""
    out = np.zeros((q, q))
    for part in residuals:
        if part.constants is None:
            continue
        at, J = part.constants[0], part.constants[1][start:end]
        weighted = J * part.weight[start:end, ..., None]
        for e, own in enumerate(at):
            out[np.ix_(own, own)] += np.einsum("kmi,kmj->ij", weighted[:, e], J[:, e], optimize=True)
    return out


def _forward(factored: Factored, B: np.ndarray) -> np.ndarray:
    """(k, n, q) L⁻¹ B, block by block."""
    Z = np.empty_like(B)
    before: np.ndarray | float = 0.0
    for k in range(factored.k):
        Z[k] = solve_triangular(factored.diagonal(k), B[k] - before, lower=True, check_finite=False)
        if k < factored.k - 1:
            before = factored.below(k) @ Z[k]
    return Z


def _backward(
    factored: Factored,
    first: int,
    Z: np.ndarray,
    after: np.ndarray | None,
    X: np.ndarray | None,
    visit: Callable[[int, np.ndarray, np.ndarray], None],
) -> tuple[np.ndarray, np.ndarray]:
    """Visits all keyframes of a chunk, last first; returns block and X of the first one."""
    found = X

    def one(k: int, S: np.ndarray, W: np.ndarray, M: np.ndarray | None) -> None:
        nonlocal found
        right = Z[k - first] if found is None or M is None else Z[k - first] - M.T @ found
        found = W.T @ right
        visit(k, S, found)

    block = factored.covariances(first, after, one)
    assert found is not None
    return block, found
