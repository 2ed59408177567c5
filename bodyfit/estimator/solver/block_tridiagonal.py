"""Residuals -> one block-tridiagonal least-squares problem over time -> step.

The unknowns of a keyframe meet only those of the next, so the normal matrix is block tridiagonal and its
Cholesky factor has a band: cost is linear in duration. Long captures are solved chunk by chunk, exactly:
what a chunk leaves to the next is one block (the Schur complement), and chunks are factored again on the
way back, so that memory stays bounded.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.lib.stride_tricks import as_strided
from scipy.linalg import cholesky_banded, solve_triangular
from scipy.linalg.blas import dtrsm
from scipy.linalg.lapack import dtbtrs
from scipy.sparse import coo_array
from scipy.sparse.csgraph import reverse_cuthill_mckee

from ...core.arrays.scratch import let_go, room
from ...errors import CannotReconstructError
from ..residuals.base import InPieces, Linearised, in_pieces

# largest two rows of blocks, dense, that are solved in one piece; tried: on hundred seconds of ten units
# beside bare segments 150e6 take 1.6 times as long, on three minutes of 15 units as long, 349, not 531 MiB
WHOLE_BYTES = 250e6
CHUNK_BYTES = 50e6  # of a piece, when it is not; chosen; not tried


class Blocks:
    """Normal equations H x = −g of consecutive keyframes, H block tridiagonal, by pairs of slots that meet.

    Attributes
    ----------
    gradient : (k, n)
    own : (a, b) -> (k, 3, 3), between slots a ≥ b of each keyframe
    next : (a, b) -> (k, 3, 3), between slot a of each keyframe and slot b of the next; the last one ties the
        last keyframe to the one after it
    """

    def __init__(self, keyframes: int, slots: int):
        self.k, self.slots, self.n = keyframes, slots, 3 * slots
        self.gradient = np.zeros((keyframes, self.n))
        self.own: dict[tuple[int, int], np.ndarray] = defaultdict(lambda: np.zeros((keyframes, 3, 3)))
        self.next: dict[tuple[int, int], np.ndarray] = defaultdict(lambda: np.zeros((keyframes, 3, 3)))

    @property
    def tie(self) -> np.ndarray:
        """(n, n), block between the last keyframe and the one after it, rows of the former."""
        out = np.zeros((self.slots, 3, self.slots, 3))
        for (a, b), values in self.next.items():
            out[a, :, b] = values[-1]
        return out.reshape(self.n, self.n)

    @property
    def upper(self) -> np.ndarray:
        """(k, n, n) blocks between each keyframe and the next."""
        out = np.zeros((self.k, self.slots, 3, self.slots, 3))
        for (a, b), values in self.next.items():
            out[:, a, :, b, :] = values
        return out.reshape(self.k, self.n, self.n)

    def band(self) -> np.ndarray:
        """(w + 1, k n) lower band for LAPACK, Fortran order: column c holds rows c, c + 1, … c + w of H.

        In memory, row r of column c of a keyframe's own block lies c w + r behind the block's start, and the
        block that ties it to the next keyframe n further; of the own block only r ≥ c is stored.
        """
        w = self.n - 1 + max([0, *(3 * (b - a + 1) for a, b in self.next)])
        memory = np.zeros(self.k * self.n * (w + 1))
        shape = (self.slots, 3, self.slots, 3)
        by_slot = tuple(8 * step for step in (self.n * (w + 1), 3 * w, w, 3, 1))  # keyframe, column, row
        own = as_strided(memory, (self.k, *shape), by_slot)
        below = as_strided(memory[self.n :], (self.k - 1, *shape), by_slot)
        for (a, b), values in self.own.items():
            if a > b:
                own[:, b, :, a, :] = np.swapaxes(values, -1, -2)
                continue
            for i, j in LOWER:
                own[:, a, j, a, i] = values[:, i, j]
        for (a, b), values in self.next.items():
            below[:, a, :, b, :] = values[:-1]
        return memory.reshape(self.k * self.n, w + 1).T


LOWER = ((0, 0), (1, 0), (1, 1), (2, 0), (2, 1), (2, 2))  # lower triangle, by definition


def side_by_side(residuals: Sequence[Linearised], slots: int) -> np.ndarray:
    """Slots numbered anew, those that meet from one keyframe to the next beside each other: a narrow band.

    Parameters
    ----------
    residuals : any
    slots : number of three-vectors per keyframe

    Returns
    -------
    (slots,) new number of each slot

    References
    ----------
    Cuthill & McKee 1969, doi:10.1145/800195.805928 (scipy's, reversed).
    """
    rows, columns = [np.arange(slots)], [np.arange(slots)]
    for part in residuals:
        here, there = ([np.asarray(s) for s, shift, _ in part.jacobians if shift == at] for at in (0, 1))
        rows += [a for a in here for _ in there]
        columns += [b for _ in here for b in there]
    r, c = np.concatenate([*rows, *columns]), np.concatenate([*columns, *rows])
    graph = coo_array((np.ones(len(r)), (r, c)), (slots, slots)).tocsr()
    return np.argsort(reverse_cuthill_mckee(graph, symmetric_mode=True))


def numbered(residuals: Sequence[Linearised], place: np.ndarray) -> list[Linearised]:
    """Residuals with new numbers of their slots.

    Parameters
    ----------
    residuals : any
    place : (slots,), as of `side_by_side`

    Returns
    -------
    list of Linearised
    """
    return [
        replace(part, jacobians=tuple((place[np.asarray(s)], shift, J) for s, shift, J in part.jacobians))
        for part in residuals
    ]


class Stretches:
    """Residuals in stretches of keyframes that are factored in one piece, their slots `side_by_side`.

    Attributes
    ----------
    chunks : (start, end) of each
    place : (slots,) new number of each slot
    """

    def __init__(self, residuals: Sequence[Linearised] | InPieces, slots: int, keyframes: int):
        self.source, self.slots, self.chunks = in_pieces(residuals), slots, chunks_of(slots, keyframes)
        self.place = side_by_side(self.source.piece(*self.chunks[0])[0], slots)
        self._last: tuple[int, tuple[list[Linearised], int, int]] | None = None

    def of(self, index: int) -> tuple[list[Linearised], int, int]:
        """Residuals of a stretch, and the rows of its first keyframe and of the one after its last."""
        if self._last is None or self._last[0] != index:
            self._last = None  # let go before the next are made
            start, end = self.chunks[index]
            parts, row = self.source.piece(start, end)
            self._last = index, (numbered(parts, self.place), row, row + end - start)
        return self._last[1]

    def factored(self, index: int, carry: Sequence[np.ndarray]) -> Factored:
        """The factor of a stretch, given what those before it left over."""
        parts, start, end = self.of(index)
        return Factored(assemble(parts, self.slots, start, end), carry)

    def room_for_step(self) -> np.ndarray:
        """(K + 1, slots, 3), to be filled by `put`."""
        return room((self.chunks[-1][1], self.slots, 3))

    def put(self, step: np.ndarray, index: int, found: np.ndarray) -> None:
        """The step (k, n) of a stretch into that of all, slots numbered as they were."""
        step[slice(*self.chunks[index])] = found.reshape(-1, self.slots, 3)[:, self.place]
        let_go(step)


class CarriedOver:
    """What is left over before each of so many stretches, arrays of the same shapes; on the disk if large."""

    def __init__(self, count: int):
        self.count, self.whole = count, tuple[np.ndarray, ...]()

    def __setitem__(self, index: int, arrays: tuple[np.ndarray, ...]) -> None:
        self.whole = self.whole or tuple(room((self.count, *array.shape)) for array in arrays)
        for whole, array in zip(self.whole, arrays, strict=True):
            whole[index] = array
        let_go(*self.whole)

    def __getitem__(self, index: int) -> tuple[np.ndarray, ...]:
        return tuple(whole[index] for whole in self.whole)


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
    for residual in residuals:
        _add(blocks, residual, start, end)
    return blocks


def _add(blocks: Blocks, residual: Linearised, start: int, end: int) -> None:
    """Adds one kind of residual: all its Jacobians and its value side by side, A, make AᵀWA."""
    first = max(0, start - max(shift for _, shift, _ in residual.jacobians))
    weight = residual.weight[first:end, ..., None]
    if not weight.any():
        return
    sides = [*(J[first:end] for _, _, J in residual.jacobians), residual.value[first:end, ..., None]]
    A = np.concatenate(sides, -1)
    H = np.swapaxes(A * weight, -1, -2) @ A
    gradient = blocks.gradient.reshape(blocks.k, blocks.slots, 3)
    for i, (slots_a, shift_a, _) in enumerate(residual.jacobians):
        values = H[max(0, start - shift_a) - first : end - shift_a - first, :, 3 * i : 3 * i + 3]
        skip = shift_a if start == 0 else 0  # no interval ends at the very first keyframe
        rows = slice(skip, skip + len(values))
        for e, a in enumerate(slots_a):
            gradient[rows, a] += values[:, e, :, -1]
        for j, (slots_b, shift_b, _) in enumerate(residual.jacobians):
            if shift_b < shift_a:
                continue
            for e, (a, b) in enumerate(zip(slots_a, slots_b, strict=True)):
                block = values[:, e, :, 3 * j : 3 * j + 3]
                if shift_b > shift_a:
                    blocks.next[a, b][: len(block)] += block
                elif a >= b:
                    blocks.own[a, b][rows] += block


def solve(residuals: Sequence[Linearised] | InPieces, slots: int, keyframes: int) -> np.ndarray:
    """Gauss–Newton step of all residuals.

    Parameters
    ----------
    residuals : linearised at the same point
    slots : number of three-vectors per keyframe
    keyframes : K + 1

    Returns
    -------
    (K + 1, slots, 3) array, the step

    Raises
    ------
    CannotReconstructError
        The normal matrix is not positive definite: something is not determined at all.
    """
    stretches, n = Stretches(residuals, slots, keyframes), 3 * slots
    last = len(stretches.chunks) - 1
    carry, kept = (np.zeros((n, n)), np.zeros(n)), CarriedOver(last + 1)
    for index in range(last):
        kept[index] = carry
        carry = stretches.factored(index, carry).left_to_next()
    kept[last] = carry
    step, after = stretches.room_for_step(), None
    for index in reversed(range(last + 1)):
        found = stretches.factored(index, kept[index]).solve(after)
        stretches.put(step, index, found)
        after = found[0]
    return step


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

    def __init__(self, blocks: Blocks, carry: Sequence[np.ndarray]):
        self.k, self.n, self.tie = blocks.k, blocks.n, blocks.tie
        band, gradient = blocks.band(), blocks.gradient
        for c in range(self.n):
            band[: self.n - c, c] += carry[0][c:, c]
        gradient[0] += carry[1]
        try:
            self.L = cholesky_banded(band, lower=True, overwrite_ab=True, check_finite=False)
        except np.linalg.LinAlgError as error:
            raise CannotReconstructError(
                "the motion can't be determined from these sensors: the normal equations are singular; "
                "add a sensor or a unit, or fit a stretch with more movement"
            ) from error
        self.z = dtbtrs(self.L, -gradient.reshape(-1, 1), uplo="L")[0][:, 0]

    def left_to_next(self) -> tuple[np.ndarray, np.ndarray]:
        """What this chunk adds to the next one's first diagonal block and gradient."""
        M = self.below(self.k - 1)
        return -M @ M.T, M @ self.z[-self.n :]

    def reduced(self, B: np.ndarray) -> None:
        """L⁻¹ B in place of a border B (k, n, q): Y_k = L_k⁻¹ (B_k − M_{k−1} Y_{k−1})."""
        for k in range(self.k):
            if k:
                B[k] -= self.below(k - 1) @ B[k - 1]
            dtrsm(1.0, self.own[k], B[k].T, side=1, lower=1, trans_a=1, overwrite_b=1)

    def border_left(self, last: np.ndarray) -> np.ndarray:
        """(n, q) what this chunk adds to the next one's border, given L⁻¹ B of its last keyframe."""
        return -self.below(self.k - 1) @ last

    def solve(self, after: np.ndarray | None) -> np.ndarray:
        """(k, n) step, given that of the keyframe after this chunk."""
        z = self.z.copy()
        if after is not None:
            z[-self.n :] -= self.below(self.k - 1).T @ after
        return dtbtrs(self.L, z[:, None], uplo="L", trans="T")[0].reshape(self.k, self.n)

    @cached_property
    def own(self) -> np.ndarray:
        """(k, n, n) L_k, diagonal blocks of the factor; above their diagonal is something else."""
        return self._blocks(self.k, 0)

    def below(self, k: int) -> np.ndarray:
        """(n, n) M_k, the factor's block between a keyframe and the next, rows of the latter."""
        if k == self.k - 1:
            return solve_triangular(self.own[k], self.tie, lower=True, check_finite=False).T
        return self._below[k] * self._inside

    @cached_property
    def _below(self) -> np.ndarray:
        """(k − 1, n, n) blocks below the diagonal ones; beyond the band is something else."""
        return self._blocks(self.k - 1, self.n)

    def _blocks(self, count: int, down: int) -> np.ndarray:
        """Blocks (count, n, n) of the factor that begin so many rows below the diagonal.

        In memory, row i of column j lies j (rows − 1) + i behind a diagonal block's start.
        """
        n, rows, item = self.n, len(self.L), self.L.itemsize
        strides = (item * n * rows, item, item * (rows - 1))
        return as_strided(self.L.T.reshape(-1)[down:], (count, n, n), strides, writeable=False)

    @cached_property
    def _inside(self) -> np.ndarray:
        """(n, n) one where a block below a diagonal one lies in the band, else zero."""
        return np.tri(self.n, self.n, len(self.L) - self.n - 1).T
