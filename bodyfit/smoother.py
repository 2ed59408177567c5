"""Residuals -> one block-tridiagonal least-squares problem over time -> step and covariance.

The unknowns of a keyframe meet only those of the next, so the normal matrix is block tridiagonal and its
Cholesky factor has a band: cost is linear in duration. Long captures are solved chunk by chunk, exactly:
what a chunk leaves to the next is one block (the Schur complement), and chunks are factored again on the
way back, so that memory stays bounded.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.lib.stride_tricks import as_strided
from scipy.linalg import cholesky_banded, solve_triangular
from scipy.linalg.lapack import dtbtrs, dtrtri

from .errors import CannotReconstructError
from .residuals import Linearised

WHOLE_BYTES = 150e6  # largest band matrix that is solved in one piece
CHUNK_BYTES = 50e6  # of a piece, when it is not


class Blocks:
    """Normal equations H x = −g of consecutive keyframes, H block tridiagonal, as LAPACK's lower band.

    Column c of `band` (2n, k·n; Fortran order) holds rows c, c + 1, … c + 2n − 1 of H. Seen as squares, row r
    of column c of a keyframe's own block lies c (2n − 1) + r behind the block's start, and the block that
    ties it to the next keyframe n further; only r ≥ c of the own block is stored.

    Attributes
    ----------
    gradient : (k, n)
    tie : (n, n), block between the last keyframe and the one after it, rows of the former
    """

    def __init__(self, keyframes: int, slots: int):
        self.k, self.slots, self.n = keyframes, slots, 3 * slots
        n, item = self.n, 8
        memory = np.zeros(keyframes * n * 2 * n)
        self.band = memory.reshape(keyframes * n, 2 * n).T
        self.gradient, self.tie = np.zeros((keyframes, n)), np.zeros((n, n))
        column, row = (2 * n - 1) * item, item
        by_slot = (2 * n * n * item, 3 * column, column, 3 * row, row)  # keyframe, column, row
        shape = (slots, 3, slots, 3)
        self._own = as_strided(memory, (keyframes, *shape), by_slot)
        self._next = as_strided(memory[n:], (keyframes - 1, *shape), by_slot)

    def add_own(self, rows: slice, a: int, b: int, values: np.ndarray) -> None:
        """Adds (k', 3, 3) to the own blocks at slots a (row), b (column); only the lower triangle counts."""
        if a > b:
            self._own[rows, b, :, a, :] += np.swapaxes(values, -1, -2)
        elif a == b:
            for i, j in zip(*np.tril_indices(3), strict=True):
                self._own[rows, a, j, a, i] += values[:, i, j]

    def add_next(self, a: int, b: int, values: np.ndarray) -> None:
        """Adds (k', 3, 3) between slot a of each keyframe and slot b of the next."""
        inside = min(len(values), self.k - 1)
        self._next[:inside, a, :, b, :] += values[:inside]
        if len(values) == self.k:
            self.tie[3 * a : 3 * a + 3, 3 * b : 3 * b + 3] += values[-1]

    def add_carry(self, block: np.ndarray, gradient: np.ndarray) -> None:
        """Adds what earlier keyframes left to the first one: (n, n) symmetric, (n,)."""
        for c in range(self.n):
            self.band[: self.n - c, c] += block[c:, c]
        self.gradient[0] += gradient

    @property
    def diagonal(self) -> np.ndarray:
        """(k, n, n) own blocks, whole."""
        lower = np.tril(np.swapaxes(self._own.reshape(self.k, self.n, self.n), -1, -2))
        return lower + np.swapaxes(np.tril(lower, -1), -1, -2)

    @property
    def upper(self) -> np.ndarray:
        """(k, n, n) blocks between each keyframe and the next."""
        return np.concatenate([self._next.reshape(self.k - 1, self.n, self.n), self.tie[None]])


def assemble(residuals: Sequence[Linearised], slots: int, start: int, end: int) -> Blocks:
    """Normal equations of the keyframes start ≤ k < end.

    Parameters
    ----------
    residuals : linearised at the same point
    slots : number of three-vectors per keyframe
    start, end : keyframes

    Returns
    -------
    Blocks, n = 3·slots
    """
    blocks = Blocks(end - start, slots)
    gradient = blocks.gradient.reshape(-1, slots, 3)
    for residual in residuals:
        for slots_a, shift_a, J_a in residual.jacobians:
            own = slice(max(0, start - shift_a), max(0, end - shift_a))
            weighted = np.swapaxes(J_a[own], -1, -2) * residual.weight[own][..., None, :]
            skip = shift_a if start == 0 else 0  # no interval ends at the very first keyframe
            rows = slice(skip, skip + len(weighted))
            pull = (weighted @ residual.value[own][..., None])[..., 0]
            for e, slot in enumerate(slots_a):
                gradient[rows, slot] += pull[:, e]
            for slots_b, shift_b, J_b in residual.jacobians:
                if shift_b < shift_a or (shift_a == shift_b and np.all(slots_a < slots_b)):
                    continue
                product = weighted @ J_b[own]
                for e, (a, b) in enumerate(zip(slots_a, slots_b, strict=True)):
                    if shift_b > shift_a:
                        blocks.add_next(a, b, product[:, e])
                    else:
                        blocks.add_own(rows, a, b, product[:, e])
    return blocks


def solve(
    residuals: Sequence[Linearised],
    slots: int,
    keyframes: int,
    visit: Callable[[int, np.ndarray], None] | None = None,
) -> np.ndarray:
    """Gauss–Newton step of all residuals.

    Parameters
    ----------
    residuals : linearised at the same point
    slots : number of three-vectors per keyframe
    keyframes : K + 1
    visit : called as visit(k, covariance (n, n)) for every keyframe, last first, when given

    Returns
    -------
    (K + 1, slots, 3) array, the step

    Raises
    ------
    CannotReconstructError
        The normal matrix is not positive definite: something is not determined at all.
    """
    n, chunks = 3 * slots, chunks_of(slots, keyframes)
    carry, kept = (np.zeros((n, n)), np.zeros(n)), []
    for index, chunk in enumerate(chunks):
        factored = Factored(assemble(residuals, slots, *chunk), carry)
        kept.append(carry)
        if index < len(chunks) - 1:
            carry = factored.left_to_next()
    step, after, block = np.empty((keyframes, n)), None, None
    for index in reversed(range(len(chunks))):
        a, b = chunks[index]
        if index < len(chunks) - 1:
            factored = Factored(assemble(residuals, slots, a, b), kept[index])
        step[a:b] = factored.solve(after)
        if visit is not None:
            block = factored.covariances(a, block, lambda k, S, *_: visit(k, S))
        after = step[a]
    return step.reshape(keyframes, slots, 3)


def chunks_of(slots: int, keyframes: int) -> list[tuple[int, int]]:
    """Stretches of keyframes, start and end, that are factored in one piece.

    Parameters
    ----------
    slots : number of three-vectors per keyframe
    keyframes : K + 1

    Returns
    -------
    list of (start, end)
    """
    each = 16 * (3 * slots) ** 2
    length = keyframes if each * keyframes <= WHOLE_BYTES else max(8, int(CHUNK_BYTES / each))
    return [(a, min(a + length, keyframes)) for a in range(0, keyframes, length)]


class Factored:
    """Banded Cholesky factor of one chunk, given what the chunks before it left over."""

    def __init__(self, blocks: Blocks, carry: tuple[np.ndarray, np.ndarray]):
        self.k, self.n, self.tie = blocks.k, blocks.n, blocks.tie
        blocks.add_carry(*carry)
        try:
            self.L = cholesky_banded(blocks.band, lower=True, overwrite_ab=True, check_finite=False)
        except np.linalg.LinAlgError as error:
            raise CannotReconstructError(
                "the motion can't be determined from these sensors: the normal equations are singular; "
                "add a sensor or a unit, or fit a stretch with more movement"
            ) from error
        self.z = dtbtrs(self.L, -blocks.gradient.reshape(-1, 1), uplo="L")[0][:, 0]

    def last_below(self) -> np.ndarray:
        """(n, n) block of the factor between the last keyframe and the one after it."""
        return solve_triangular(self.diagonal(self.k - 1), self.tie, lower=True, check_finite=False).T

    def left_to_next(self) -> tuple[np.ndarray, np.ndarray]:
        """What this chunk adds to the next one's first diagonal block and gradient."""
        M = self.last_below()
        return -M @ M.T, M @ self.z[-self.n :]

    def solve(self, after: np.ndarray | None) -> np.ndarray:
        """(k, n) step, given that of the keyframe after this chunk."""
        z = self.z.copy()
        if after is not None:
            L = self.diagonal(self.k - 1)
            z[-self.n :] -= solve_triangular(L, self.tie @ after, lower=True, check_finite=False)
        return dtbtrs(self.L, z[:, None], uplo="L", trans="T")[0].reshape(self.k, self.n)

    def diagonal(self, k: int) -> np.ndarray:
        """(n, n) lower triangle of the factor's diagonal block."""
        return np.tril(self._view(k, 0))

    def below(self, k: int) -> np.ndarray:
        """(n, n) block of the factor below the diagonal block."""
        return self._view(k, self.n)

    def _view(self, k: int, down: int) -> np.ndarray:
        """(n, n) square of the band: row i of column j lies j (2n − 1) + i behind its start."""
        columns = self.L[:, k * self.n : (k + 1) * self.n].T.reshape(-1)[down:]
        item = columns.itemsize
        return as_strided(columns, (self.n, self.n), (item, (2 * self.n - 1) * item), writeable=False)

    def covariances(
        self,
        first: int,
        after: np.ndarray | None,
        visit: Callable[[int, np.ndarray, np.ndarray, np.ndarray | None], None],
    ) -> np.ndarray:
        """Diagonal blocks of the inverse, backwards (Takahashi's recursion); returns the first one.

        Called back as visit(k, S_k, L_k⁻¹, M_k), M_k None at the very last keyframe.

        S_k = L_k⁻ᵀ (I + M_kᵀ S_{k+1} M_k) L_k⁻¹, with M_k the block below L_k. Source: Erisman & Tinney 1975,
        doi:10.1145/360680.360704, for blocks.
        """
        S = after
        for k in reversed(range(self.k)):
            L = self.diagonal(k)
            M = None if S is None else self.below(k) if k < self.k - 1 else self.last_below()
            W = dtrtri(L, lower=1)[0]
            S = W.T @ W if M is None else W.T @ (np.eye(self.n) + M.T @ S @ M) @ W
            visit(first + k, S, W, M)
        assert S is not None
        return S
