"""How sure the smoother is: covariance of the unknowns at every keyframe, constants included.

The unknowns x meet constants c that were held while the smoother stepped. Together their information is
[[H, B], [Bᵀ, C]]: H block tridiagonal, B a border, C with the constants' own prior. Some constants (lever
arms) were found between the steps: their covariance is Σ = (C − Bᵀ H⁻¹ B)⁻¹, and x has H⁻¹ + X Σ Xᵀ,
X = H⁻¹ B. Others were only allowed for: their errors e stay as they are, with the covariance P that they come
with, and draw the found ones along by T e, T = −Σ M, M the part of C − Bᵀ H⁻¹ B between the two.

Sources: Golub & Van Loan, Matrix Computations, 4th ed., sec. 3.2.11 (block elimination); Schmidt 1966,
doi:10.1016/B978-1-4831-6716-9.50011-4 (parameters considered, not estimated; from memory); for the blocks of
H⁻¹ see `posterior`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from scipy.linalg.blas import dtrsm

from ..residuals.base import InPieces, Linearised
from .block_tridiagonal import CarriedOver, Factored, Stretches

# keyframes whose covariance is told of at once; tried: 16 and 64 on 15 units, 1,500 and 32,000 page faults
TOLD_AT_ONCE = 16


def posterior(
    residuals: Sequence[Linearised] | InPieces,
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
    With H = L Lᵀ, L_k the diagonal block of a keyframe, M_k the one below it, and Y = L⁻¹ B:
    X_k = L_k⁻ᵀ (Y_k − M_kᵀ X_{k+1}), S_k = L_k⁻ᵀ (I + M_kᵀ S_{k+1} M_k) L_k⁻¹. The inverse is found only
    where it is needed, from the factor, last block first.

    References
    ----------
    Erisman & Tinney 1975, doi:10.1145/360680.360704 (Takahashi's recursion, here in blocks).
    """
    stretches = Stretches(residuals, slots, keyframes)
    at = (3 * stretches.place[:shown, None] + np.arange(3)).ravel()
    n, q, last = 3 * slots, len(prior), len(stretches.chunks) - 1
    carry, border, kept = (np.zeros((n, n)), np.zeros(n)), np.zeros((n, q)), CarriedOver(last + 1)
    information = np.zeros((q, q))
    for index in range(last + 1):
        kept[index] = (*carry, border)
        factored = Y = None  # let go before the next are made
        factored, Y = _reduced(stretches, index, carry, border)
        information += _own(*stretches.of(index), q) - _square(Y)
        if index < last:
            carry, border = factored.left_to_next(), factored.border_left(Y[-1])
    sigma = _of_constants(information, prior, allowed)
    after = np.zeros((n, n)), np.zeros((n, q))
    for index in reversed(range(last + 1)):
        if index < last:
            factored = Y = None
            *carry, border = kept[index]
            factored, Y = _reduced(stretches, index, carry, border)
        first = stretches.chunks[index][0]
        for a in reversed(range(0, len(Y), TOLD_AT_ONCE)):
            S, after = _backward(factored, Y, range(a, min(a + TOLD_AT_ONCE, len(Y))), after, at)
            own = slice(a, a + len(S))
            visit(slice(first + a, first + a + len(S)), S, Y[own, at], sigma)
    return sigma


def solve_with_constants(
    residuals: Sequence[Linearised] | InPieces,
    slots: int,
    keyframes: int,
    prior: np.ndarray,
    pull: np.ndarray,
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
    stretches = Stretches(residuals, slots, keyframes)
    n, q, last = 3 * slots, len(prior), len(stretches.chunks) - 1
    carry, border, kept = (np.zeros((n, n)), np.zeros(n)), np.zeros((n, q)), CarriedOver(last + 1)
    information, gradient = prior.copy(), pull.copy()
    for index in range(last + 1):
        kept[index] = (*carry, border)
        factored, Z = _reduced(stretches, index, carry, border)
        information += _own(*stretches.of(index), q) - _square(Z)
        gradient += _pull(*stretches.of(index), q) + Z.reshape(-1, q).T @ factored.z
        if index < last:
            carry, border = factored.left_to_next(), factored.border_left(Z[-1])
    change = -np.linalg.solve(information, gradient)
    step, after = stretches.room_for_step(), None
    for index in reversed(range(last + 1)):
        if index < last:
            factored = Z = None  # let go before the next are made
            *carry, border = kept[index]
            factored, Z = _reduced(stretches, index, carry, border)
        factored.z = factored.z - Z.reshape(-1, q) @ change
        found = factored.solve(after)
        stretches.put(step, index, found)
        after = found[0]
    return step, change


def _reduced(
    stretches: Stretches, index: int, carry: Sequence[np.ndarray], border: np.ndarray
) -> tuple[Factored, np.ndarray]:
    """A stretch's factor L, and (k, n, q) L⁻¹ B."""
    factored = stretches.factored(index, carry)
    parts, start, end = stretches.of(index)
    B = _border(parts, stretches.slots, start, end, border)
    factored.reduced(B)
    return factored, B


def _square(Y: np.ndarray) -> np.ndarray:
    """(q, q) Σ YᵀY of (k, n, q)."""
    k, n, q = Y.shape
    flat = Y.reshape(k * n, q)
    return flat.T @ flat


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
                for here, there in _runs(at[e]):
                    out[rows, slot, :, there] += product[:, e, :, here]
    out = out.reshape(end - start, 3 * slots, q)
    out[0] += carried
    return out


def _runs(at: np.ndarray) -> list[tuple[slice, slice]]:
    """Places of neighbours among indices, and these as slices: many times as fast as the indices."""
    ends = [0, *(np.flatnonzero(np.diff(at) != 1) + 1), len(at)]
    return [(slice(a, b), slice(int(at[a]), int(at[a]) + b - a)) for a, b in pairwise(ends) if b > a]


def _own(residuals: Sequence[Linearised], start: int, end: int, q: int) -> np.ndarray:
    """(q, q) information about the constants themselves."""
    out = np.zeros((q, q))
    for part in residuals:
        if part.constants is None:
            continue
        at, J = part.constants[0], part.constants[1][start:end]
        by_residual = (len(at), -1, at.shape[1])
        weighted = np.swapaxes(J * part.weight[start:end, ..., None], 0, 1).reshape(by_residual)
        square = np.swapaxes(weighted, 1, 2) @ np.swapaxes(J, 0, 1).reshape(by_residual)
        for e, own in enumerate(at):
            out[np.ix_(own, own)] += square[e]
    return out


def _backward(
    factored: Factored, Y: np.ndarray, keys: range, after: tuple[np.ndarray, np.ndarray], at: np.ndarray
) -> tuple[np.ndarray, tuple[np.ndarray, np.ndarray]]:
    """(k, m, m) S of some keyframes and the unknowns `at`, and S and X of the first; X in place of Y.

    `after` : S and X of the keyframe after these
    """
    out, rows, eye = np.empty((len(keys), len(at), len(at))), at[:, None], np.eye(factored.n)
    S, X = after
    for k in reversed(keys):
        L, M = factored.own[k], factored.below(k)
        Y[k] -= M.T @ X
        X = dtrsm(1.0, L, Y[k].T, side=1, lower=1, overwrite_b=1).T
        half = dtrsm(1.0, L, (eye + M.T @ S @ M).T, lower=1, trans_a=1, overwrite_b=1)
        S = dtrsm(1.0, L, half, side=1, lower=1, overwrite_b=1)
        out[k - keys[0]] = S[rows, at]
    return out, (S, X)
