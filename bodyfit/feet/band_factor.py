"""Cholesky factor of a block tridiagonal matrix, in place, and in pieces where it is too large for memory."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.linalg import cholesky_banded, solve_triangular
from scipy.linalg.lapack import dtbtrs

from ..core.arrays.scratch import let_go

AT_ONCE_BYTES = 16 * 2**20  # of a band that is worked on at once; chosen; not tried


class BandFactor:
    """H = L Lᵀ of a band; L takes its place.

    Attributes
    ----------
    band : (K, n, 2 n) column c of a keyframe holds rows c, c + 1, … of the matrix below it
    at_once : keyframes that are worked on at once

    Notes
    -----
    Of a piece that ends with keyframe k, LAPACK's factor lacks what ties k to the next: M = T L_k⁻ᵀ, T that
    block of H. It leaves − M Mᵀ on the next diagonal block (Golub & Van Loan, Matrix Computations, 4th ed.,
    sec. 4.5.1), and the other way round M x_k, or Mᵀ x_{k+1}, on a right-hand side.
    """

    def __init__(self, band: np.ndarray):
        self.band = band
        self.at_once = max(1, AT_ONCE_BYTES * len(band) // band.nbytes)
        before = None
        for a, b in self._pieces(0):
            if before is not None:
                left = before @ before.T
                for j in range(len(left)):
                    band[a, j, : len(left) - j] -= left[j:, j]
            columns = self._columns(a, b)
            factor = cholesky_banded(columns, lower=True, overwrite_ab=True, check_finite=False)
            if not np.shares_memory(factor, columns):
                columns[:] = factor
            before = self._tie_factored(b - 1) if b < len(band) else None
            let_go(band)

    def forward(self, sides: np.ndarray, first: int = 0) -> None:
        """L⁻¹ in place of columns (c, K − first, n), whose keyframes before `first` are zero."""
        before = None
        for a, b in self._pieces(first):
            own = sides[:, a - first : b - first]
            if before is not None:
                own[:, 0] -= before
            self._solve(own, a, b, "N")
            before = own[:, -1] @ self._tie(b - 1).T if b < len(self.band) else None
            let_go(self.band, sides)

    def started_at(self, keyframes: slice, side: np.ndarray) -> np.ndarray:
        """(k n,) L⁻¹ of a column that is zero but at some keyframes, as far as it lies at these."""
        return dtbtrs(self._columns(keyframes.start, keyframes.stop), side, uplo="L")[0]

    def backward(self, sides: np.ndarray) -> None:
        """L⁻ᵀ in place of columns (c, K, n)."""
        after = None
        for a, b in reversed([*self._pieces(0)]):
            own = sides[:, a:b]
            if after is not None:
                own[:, -1] -= after @ self._tie(b - 1)
            self._solve(own, a, b, "T")
            after = own[:, 0].copy()
            let_go(self.band, sides)

    def _pieces(self, first: int) -> Iterator[tuple[int, int]]:
        """Keyframes from `first` on that are worked on at once, start and end."""
        for a in range(first, len(self.band), self.at_once):
            yield a, min(a + self.at_once, len(self.band))

    def _columns(self, a: int, b: int) -> np.ndarray:
        """(2 n, …) the band of some keyframes as LAPACK has it."""
        n, rows = self.band.shape[1:]
        return self.band[a:b].reshape((b - a) * n, rows).T

    def _solve(self, sides: np.ndarray, a: int, b: int, trans: str) -> None:
        c, k, n = sides.shape
        right = sides.reshape(c, k * n).T
        solved = dtbtrs(self._columns(a, b), right, uplo="L", trans=trans, overwrite_b=1)[0]
        if not np.shares_memory(solved, sides):
            sides[:] = solved.T.reshape(c, k, n)

    def _tie(self, k: int) -> np.ndarray:
        """(n, n) block between a keyframe and the next, rows of the latter."""
        n = self.band.shape[1]
        return np.stack([self.band[k, j, n - j : 2 * n - j] for j in range(n)], 1)

    def _tie_factored(self, k: int) -> np.ndarray:
        """(n, n) M in the place of T."""
        n, own = self.band.shape[1], np.zeros((self.band.shape[1],) * 2)
        for j in range(n):
            own[j:, j] = self.band[k, j, : n - j]
        M = solve_triangular(own, self._tie(k).T, lower=True, check_finite=False).T
        for j in range(n):
            self.band[k, j, n - j : 2 * n - j] = M[:, j]
        return M
