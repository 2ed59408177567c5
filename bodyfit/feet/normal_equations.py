"""Least squares over time with a few constants: block tridiagonal normal equations with a border."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded
from scipy.linalg.lapack import dtbtrs

LEAST = 1e-9  # on the diagonal, so that what nothing measures stays where it is (by reasoning)


class NormalEquations:
    """Sums of JᵀWJ and JᵀWr of residuals between neighbouring keyframes and constants.

    Attributes
    ----------
    own, next, border : (K, n, n), (K − 1, n, n), (K, n, c)
    constants : (c, c)
    gradient, constant_gradient : (K, n), (c,)
    """

    def __init__(self, keyframes: int, states: int, constants: int):
        self.own = np.zeros((keyframes, states, states))
        self.next = np.zeros((keyframes - 1, states, states))
        self.border = np.zeros((keyframes, states, constants))
        self.constants = np.zeros((constants, constants))
        self.gradient = np.zeros((keyframes, states))
        self.constant_gradient = np.zeros(constants)

    def add(self, residual: np.ndarray, jacobians: tuple, sd: np.ndarray, at: np.ndarray | None = None):
        """Adds residuals of one keyframe each, or of one and the next.

        Parameters
        ----------
        residual : (m, d)
        jacobians : (m, d, n) of the keyframe, the same of the next or None, (m, d, c) of the constants
        sd : (m,) standard deviation
        at : (m,) keyframes; None: the first m
        """
        rows = slice(len(residual)) if at is None else at
        weight = (1 / sd)[:, None]
        r = (residual * weight)[..., None]
        here, common = (jacobians[i] * weight[..., None] for i in (0, 2))
        hereT = np.swapaxes(here, -1, -2)
        self.own[rows] += hereT @ here
        self.border[rows] += hereT @ common
        self.gradient[rows] += (hereT @ r)[..., 0]
        if jacobians[1] is not None:
            there = jacobians[1] * weight[..., None]
            thereT = np.swapaxes(there, -1, -2)
            self.own[1:] += thereT @ there
            self.border[1:] += thereT @ common
            self.gradient[1:] += (thereT @ r)[..., 0]
            self.next += hereT @ there
        flat = common.reshape(common.shape[0] * common.shape[1], common.shape[2])
        self.constants += flat.T @ flat
        self.constant_gradient += flat.T @ r.ravel()

    def solved(self) -> Solved:
        """The step, and what standard deviations need."""
        K, n, c = self.border.shape
        factor = cholesky_banded(self._band(), lower=True, check_finite=False)
        B = self.border.reshape(K * n, c)
        both = np.concatenate([B, -self.gradient.reshape(-1, 1)], 1)
        both = cho_solve_banded((factor, True), both, check_finite=False)
        Z, free = both[:, :c], both[:, c]
        spread = np.linalg.inv(self.constants - B.T @ Z)
        constants = spread @ (-self.constant_gradient - B.T @ free)
        return Solved((free - Z @ constants).reshape(K, n), constants, factor, Z, spread)

    def _band(self) -> np.ndarray:
        """(2 n, K n) lower band for LAPACK."""
        K, n, _ = self.own.shape
        band = np.zeros((2 * n, K * n))
        for i in range(n):
            for j in range(i + 1):
                band[i - j, j::n] = self.own[:, i, j]
            for j in range(n):
                band[n + i - j, j : (K - 1) * n + j : n] = self.next[:, j, i]
        band[0] += LEAST
        return band


@dataclass(frozen=True, eq=False)
class Solved:
    """A step of least squares and the factors behind it.

    Attributes
    ----------
    step : (K, n)
    constants : (c,)
    factor : (2 n, K n) Cholesky factor of the block tridiagonal part, lower band
    Z : (K n, c) that part's inverse times the border
    spread : (c, c) covariance of the constants
    """

    step: np.ndarray
    constants: np.ndarray
    factor: np.ndarray
    Z: np.ndarray
    spread: np.ndarray

    def variance(self, functional: np.ndarray) -> np.ndarray:
        """Variances of linear functions of the states.

        Parameters
        ----------
        functional : (q, K, n)

        Returns
        -------
        (q,): L H⁻¹ Lᵀ + (L Z) S (L Z)ᵀ, H the block tridiagonal part, S the constants' covariance
        """
        L = functional.reshape(len(functional), -1)
        own = np.einsum("qa,aq->q", L, cho_solve_banded((self.factor, True), L.T, check_finite=False))
        M = L @ self.Z
        return np.maximum(own + np.einsum("qa,ab,qb->q", M, self.spread, M), 0.0)

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
        n = rows.shape[1]
        flat = rows.ravel()
        here = slice(first * n, min(first * n + len(flat) + far * n, self.factor.shape[1]))
        padded = np.zeros(here.stop - here.start)
        padded[: len(flat)] = flat
        solved, _ = dtbtrs(np.asfortranarray(self.factor[:, here]), padded, uplo="L")
        M = flat @ self.Z[first * n : first * n + len(flat)]
        return float(solved @ solved + M @ self.spread @ M)
