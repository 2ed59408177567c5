"""Least squares over time with a few constants: block tridiagonal normal equations with a border."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..core.arrays.scratch import copied, give_back, let_go, room
from .band_factor import BandFactor

LEAST = 1e-9  # on the diagonal, so that what nothing measures stays where it is (by reasoning)
HERE, NEXT, COMMON = 0, 1, 2  # a keyframe, the one after it, the constants; by definition
# keyframes put together at once, to bound memory; tried: 128 to 3000 on a minute, 1024 is as quick as any
STRETCH = 1024
# HERE, NEXT or COMMON; one column or several; derivative (m, d, w), or (d, w) of all
Block = tuple[int, slice | int, np.ndarray]


def _time_last(keyframes: int, *sizes: int) -> np.ndarray:
    """(keyframes, *sizes) zeros that lie in memory keyframe by keyframe: sums over all of them are quick."""
    return np.moveaxis(np.zeros((*sizes, keyframes)), -1, 0)


@dataclass(frozen=True)
class Stretch:
    """Keyframes first to last of a recording of so many; the last belongs to the next stretch, too."""

    first: int
    last: int
    keyframes: int

    @property
    def span(self) -> slice:
        """All its keyframes, both ends included."""
        return slice(self.first, self.last + 1)

    @property
    def intervals(self) -> slice:
        """From each of its keyframes to the next."""
        return slice(self.first, self.last)

    @property
    def own(self) -> slice:
        """Its keyframes without the one that the next stretch has, too."""
        return slice(self.first, self.last + (self.last == self.keyframes - 1))


def stretches(keyframes: int) -> Iterator[Stretch]:
    """A recording in stretches, each of which begins where the one before ends.

    Parameters
    ----------
    keyframes : K, two or more

    Returns
    -------
    iterator
    """
    for first in range(0, keyframes - 1, STRETCH):
        yield Stretch(first, min(first + STRETCH, keyframes - 1), keyframes)


class NormalEquations:
    """Sums of JᵀWJ and JᵀWr of residuals between neighbouring keyframes and constants, of one stretch.

    Attributes
    ----------
    own, next, border : (K, n, n), (K − 1, n, n), (K, n, c)
    constants : (c, c)
    gradient, constant_gradient : (K, n), (c,)
    """

    def __init__(self, keyframes: int, states: int, constants: int):
        self.own = _time_last(keyframes, states, states)
        self.next = _time_last(keyframes - 1, states, states)
        self.border = _time_last(keyframes, states, constants)
        self.constants = np.zeros((constants, constants))
        self.gradient = _time_last(keyframes, states)
        self.constant_gradient = np.zeros(constants)

    def add(
        self,
        residual: np.ndarray,
        blocks: Sequence[Block],
        sd: np.ndarray,
        at: np.ndarray | None = None,
    ) -> None:
        """Adds residuals of one keyframe each, or of one and the next.

        Parameters
        ----------
        residual : (m, d)
        blocks : derivatives by the columns that the residuals depend on, no column twice
        sd : (m,) standard deviation
        at : (m,) keyframes; None: the first m
        """
        count = len(residual) if at is None else len(self.own)  # those that are left out weigh nothing
        A = np.zeros((residual.shape[1], 1 + sum(J.shape[-1] for *_, J in blocks), count))
        parts = _filled(A, residual, blocks, slice(None) if at is None else at, sd)
        H = np.moveaxis(np.einsum("dim,djm->ijm", A, A), -1, 0)
        rows = slice(count), slice(1, None)
        for where, own, span in parts:
            if where == COMMON:
                self.constant_gradient[own] += H[:, span, -1].sum(0)
            else:
                self.gradient[rows[where], own] += H[:, span, -1]
            for other, others, beside in parts:
                if where == other == COMMON:
                    self.constants[own, others] += H[:, span, beside].sum(0)
                elif other == COMMON:
                    self.border[rows[where], own, others] += H[:, span, beside]
                elif where == other:
                    self.own[rows[where], own, others] += H[:, span, beside]
                elif other == NEXT and where == HERE:
                    self.next[:, own, others] += H[:, span, beside]


class BandedEquations:
    """Normal equations of a whole recording, in LAPACK's order, put together stretch by stretch.

    Attributes
    ----------
    band : (K, n, 2 n) lower band: column c of a keyframe holds rows c, c + 1, … of H below it
    sides : (c + 1, K, n) the border's columns, and minus the gradient
    constants, constant_gradient : (c, c), (c,)
    """

    def __init__(self, keyframes: int, states: int, constants: int):
        self.band = room((keyframes, states, 2 * states))
        self.sides = room((constants + 1, keyframes, states))
        for stretch in stretches(keyframes):
            self.band[stretch.own], self.sides[:, stretch.own] = 0.0, 0.0
            self.band[stretch.own, :, 0] = LEAST
            let_go(self.band, self.sides)
        self.constants = np.zeros((constants, constants))
        self.constant_gradient = np.zeros(constants)

    def put(self, stretch: Stretch, part: NormalEquations) -> None:
        """Adds a stretch's equations.

        Parameters
        ----------
        stretch : which keyframes they are of
        part : its equations
        """
        n, at, between = self.band.shape[1], self.band[stretch.span], self.band[stretch.intervals]
        for j in range(n):
            at[:, j, : n - j] += part.own[:, j:, j]
            between[:, j, n - j : 2 * n - j] += part.next[:, j]
        self.sides[:-1, stretch.span] += np.moveaxis(part.border, -1, 0)
        self.sides[-1, stretch.span] -= part.gradient
        self.constants += part.constants
        self.constant_gradient += part.constant_gradient
        let_go(self.band, self.sides)

    def solved(self) -> Solved:
        """The step, and what standard deviations need; the equations are used up.

        With the keyframes' part H = L Lᵀ, L W = B the border and L w = −g: (C − Wᵀ W) c = −g_c − Wᵀ w,
        Lᵀ x = w − W c.
        """
        factor = BandFactor(self.band)
        factor.forward(self.sides)
        information, pull = self.constants.copy(), -self.constant_gradient
        for W, free, _ in self._halves(factor.at_once):
            information -= W.T @ W
            pull -= W.T @ free
        spread = np.linalg.inv(information)
        constants = spread @ pull
        step = room((1, *self.band.shape[:2]))
        for W, free, at in self._halves(factor.at_once):
            step[0, at] = (free - W @ constants).reshape(-1, step.shape[-1])
        factor.backward(step)
        give_back()
        return Solved(step[0], constants, factor, self.sides[:-1], spread)

    def _halves(self, at_once: int) -> Iterator[tuple[np.ndarray, np.ndarray, slice]]:
        """(k n, c) W and (k n,) w of some keyframes at a time, once `sides` holds them."""
        c, K = len(self.sides) - 1, len(self.band)
        for start in range(0, K, at_once):
            at = slice(start, min(start + at_once, K))
            both = self.sides[:, at].reshape(c + 1, -1).T
            yield both[:, :c], both[:, c], at
            let_go(self.sides)


def _filled(
    A: np.ndarray, residual: np.ndarray, blocks: Sequence[Block], at: np.ndarray | slice, sd: np.ndarray
) -> list[tuple[int, slice, slice]]:
    """Derivatives side by side in A (d, w, m), the residual last, each over its sd; and what stands where."""
    parts, end = [], 0
    for where, columns, J in blocks:
        span = slice(end, end := end + J.shape[-1])
        A[:, span, at] = np.moveaxis(J, 0, -1) if J.ndim > 2 else J[..., None]
        parts.append((where, slice(columns, columns + 1) if isinstance(columns, int) else columns, span))
    A[:, -1, at] = residual.T
    A[..., at] /= sd
    return parts


@dataclass(frozen=True, eq=False)
class Solved:
    """A step of least squares and the factors behind it.

    Attributes
    ----------
    step : (K, n)
    constants : (c,)
    factor : of the block tridiagonal part
    W : (c, K, n) the factor's inverse times the border
    spread : (c, c) covariance of the constants
    """

    step: np.ndarray
    constants: np.ndarray
    factor: BandFactor
    W: np.ndarray
    spread: np.ndarray

    @cached_property
    def Z(self) -> np.ndarray:
        """(c, K, n) inverse of the block tridiagonal part times the border."""
        out = copied(self.W)
        if out.size:
            self.factor.backward(out)
        return out

    def half(self, at: int) -> np.ndarray:
        """(K n − at,) C⁻¹ e of the unit vector e of one state, C the lower Cholesky factor; zero before `at`.

        Without constants, the states' covariance is the product of two such.
        """
        K, n = self.step.shape
        first, state = divmod(at, n)
        unit = np.zeros((1, K - first, n))
        unit[0, 0, state] = 1.0
        self.factor.forward(unit, first)
        return unit.reshape(-1)[state:]

    def variance_between(self, rows: np.ndarray, first: int, far: int) -> float:
        """Variance of one linear function of neighbouring keyframes, in time that does not grow with all.

        Parameters
        ----------
        rows : (m, n) the function on keyframes first to first + m − 1
        first : keyframe
        far : keyframes after these, beyond which what they share with later ones is left out

        Returns
        -------
        the square

        Notes
        -----
        L H⁻¹ Lᵀ = |C⁻¹ Lᵀ|², C the lower Cholesky factor: nothing of it lies before the first row.
        """
        m = len(rows)
        here = slice(first, min(first + m + far, len(self.step)))
        padded = np.zeros((here.stop - here.start, rows.shape[1]))
        padded[:m] = rows
        solved = self.factor.started_at(here, padded.ravel())
        M = np.einsum("cki,ki->c", self.Z[:, first : first + m], rows)
        let_go(self.factor.band, self.Z)
        return float(solved @ solved + M @ self.spread @ M)
