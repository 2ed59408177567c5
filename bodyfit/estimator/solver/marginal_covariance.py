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
from scipy.linalg.lapack import dtbtrs

from ..residuals.base import Linearised
from .block_tridiagonal import Factored, assemble, chunks_of, side_by_side


def posterior(
    residuals: Sequence[Linearised],
    slots: int,
    keyframes: int,
    prior: np.ndarray,
    allowed: np.ndarray,
    visit: Callable[[slice, np.ndarray, np.ndarray, np.ndarray], None],
    shown: int | None = None,
) -> np.ndarray:
    """Covariance of the constants, and of the unknowns at every keyframe.

    Parameters
    ----------
    residuals : linearised at the solution
    slots : number of three-vectors per keyframe
    keyframes : K + 1
    prior : (q, q), information about the constants beforehand
    allowed : (q,) bool, constants that were only allowed for, not found
    visit : called as visit(keyframes, S, X, Σ) for stretches of k keyframes, last first: the covariance of
        the m unknowns of each is S + X Σ Xᵀ, S (k, m, m), X (k, m, q), Σ (q, q)
    shown : the first so many slots are told of, m three times that; None: all

    Returns
    -------
    (q, q) array, covariance of the constants' errors

    Notes
    -----
    With P_k the covariance of a keyframe when all later ones are known, U_k its block of H with the next one
    and J_k = P_k U_k: S_k = P_k + J_k S_{k+1} J_kᵀ. The border of a keyframe takes over J_kᵀ B_k from the one
    before, and X_k = P_k B_k − J_k X_{k+1}.
    """
    residuals, place = side_by_side(residuals, slots)
    at = (3 * place[:shown, None] + np.arange(3)).ravel()
    chunks = chunks_of(slots, keyframes)
    n, q = 3 * slots, len(prior)
    carry, border, kept = (np.zeros((n, n)), np.zeros(n)), np.zeros((n, q)), []
    information = np.zeros((q, q))
    for index, chunk in enumerate(chunks):
        kept.append((carry, border))
        factored, P, J, X, border, told = _forward(residuals, slots, chunk, carry, border)
        information += _own(residuals, *chunk, q) - told
        if index < len(chunks) - 1:
            carry = factored.left_to_next()
    sigma = _of_constants(information, prior, allowed)
    after = None
    for index in reversed(range(len(chunks))):
        if index < len(chunks) - 1:
            _, P, J, X, _, _ = _forward(residuals, slots, chunks[index], *kept[index])
        S, after = _backward(P, J, X, after, at)
        visit(slice(*chunks[index]), S, X[:, at], sigma)
    return sigma


def solve_with_constants(
    residuals: Sequence[Linearised], slots: int, keyframes: int, prior: np.ndarray, pull: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Gauss–Newton step of all residuals in the unknowns of every keyframe and in constants at once.

    Parameters
    ----------
    residuals : linearised at the same point
    slots : number of three-vectors per keyframe
    keyframes : K + 1
    prior : (q, q), information about the constants beforehand
    pull : (q,), its gradient: information times how far they are from what is expected

    Returns
    -------
    step : (K + 1, slots, 3)
    change : (q,) of the constants

    Notes
    -----
    With H = L Lᵀ, L z = −g and L Z = B: (C − Zᵀ Z) c = −g_c − Zᵀ z, Lᵀ x = z − Z c.
    """
    residuals, place = side_by_side(residuals, slots)
    chunks = chunks_of(slots, keyframes)
    n, q = 3 * slots, len(prior)
    carry, border, kept = (np.zeros((n, n)), np.zeros(n)), np.zeros((n, q)), []
    information, gradient = prior.copy(), pull.copy()
    for index, chunk in enumerate(chunks):
        kept.append((carry, border))
        factored, Z = _reduced(residuals, slots, chunk, carry, border)
        information += _own(residuals, *chunk, q) - Z.T @ Z
        gradient += _pull(residuals, *chunk, q) + Z.T @ factored.z
        if index < len(chunks) - 1:
            carry, border = factored.left_to_next(), factored.border_left(Z[-n:])
    change = -np.linalg.solve(information, gradient)
    step, after = np.empty((keyframes, n)), None
    for index in reversed(range(len(chunks))):
        if index < len(chunks) - 1:
            factored, Z = _reduced(residuals, slots, chunks[index], *kept[index])
        factored.z = factored.z - Z @ change
        own = slice(*chunks[index])
        step[own] = factored.solve(after)
        after = step[own.start]
    return step.reshape(keyframes, slots, 3)[:, place], change


def _reduced(
    residuals: Sequence[Linearised],
    slots: int,
    chunk: tuple[int, int],
    carry: tuple[np.ndarray, np.ndarray],
    border: np.ndarray,
) -> tuple[Factored, np.ndarray]:
    """A chunk's factor L, and (k n, q) L⁻¹ B."""
    factored = Factored(assemble(residuals, slots, *chunk), carry)
    B = _border(residuals, slots, *chunk, border)
    return factored, dtbtrs(factored.L, B.reshape(-1, B.shape[-1]), uplo="L")[0]


def _pull(residuals: Sequence[Linearised], start: int, end: int, q: int) -> np.ndarray:
    """(q,) gradient by the constants."""
    out = np.zeros(q)
    for part in residuals:
        if part.constants is None:
            continue
        at, J = part.constants[0], part.constants[1][start:end]
        weighted = part.value[start:end] * part.weight[start:end]
        for e, own in enumerate(at):
            out[own] += np.einsum("kmi,km->i", J[:, e], weighted[:, e])
    return out


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
    residuals: Sequence[Linearised], slots: int, start: int, end: int, carried: np.ndarray
) -> np.ndarray:
    """(k, n, q) information between the unknowns of a chunk and the constants."""
    q = carried.shape[1]
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


def _forward(
    residuals: Sequence[Linearised],
    slots: int,
    chunk: tuple[int, int],
    carry: tuple[np.ndarray, np.ndarray],
    border: np.ndarray,
) -> tuple[Factored, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A chunk's factor, P, J, P B, the border left to the next chunk, and (q, q) Σ Bᵀ P B."""
    blocks = assemble(residuals, slots, *chunk)
    factored = Factored(blocks, carry)
    P = factored.inverses()
    J = P @ blocks.upper
    B = _border(residuals, slots, *chunk, border)
    for k in range(1, len(B)):
        B[k] -= J[k - 1].T @ B[k - 1]
    X = P @ B
    return factored, P, J, X, -J[-1].T @ B[-1], np.tensordot(B, X, ((0, 1), (0, 1)))


def _backward(
    P: np.ndarray, J: np.ndarray, X: np.ndarray, after: tuple[np.ndarray, np.ndarray] | None, at: np.ndarray
) -> tuple[np.ndarray, tuple[np.ndarray, np.ndarray]]:
    """(k, m, m) S of the unknowns `at`, and S and X of the first keyframe; completes X, given as P B."""
    out, rows = np.empty((len(P), len(at), len(at))), at[:, None]
    S, later = (None, None) if after is None else after
    for k in reversed(range(len(P))):
        if S is None or later is None:
            S = P[k]
        else:
            X[k] -= J[k] @ later
            S = P[k] + J[k] @ S @ J[k].T
        later = X[k]
        out[k] = S[rows, at]
    assert S is not None
    return out, (S, X[0].copy())
