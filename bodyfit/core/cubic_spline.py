"""Cubic splines through samples: all that a fit would load a third of a second of scipy.interpolate for."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.linalg.lapack import dgtsv

from .arrays.scratch import let_go, room, rows_at_once


class CubicSpline:
    """Twice continuously differentiable piecewise cubic, "not a knot" at both ends.

    Parameters
    ----------
    at : (n,) increasing, n ≥ 4
    values : (n, …)

    Notes
    -----
    Hermite form: slopes d at the knots solve h₁ d₀ + 2 (h₀ + h₁) d₁ + h₀ d₂ = 3 (h₁ s₀ + h₀ s₁), h the steps
    and s the slopes of the chords; at the ends the first two pieces are one cubic. Source: de Boor, A
    Practical Guide to Splines, revised edition 2001, chapter IV. Operations are in the order of scipy's.
    """

    def __init__(self, at: np.ndarray, values: np.ndarray):
        at, self.shape = np.asarray(at, float), np.shape(values)[1:]
        values = np.asarray(values, float).reshape(len(at), -1)
        flat = room(values.shape[::-1])  # time last: quick
        flat[:] = values.T
        step = np.diff(at)
        chord = room((len(flat), len(step)))
        for own in rows_at_once(len(step)):
            np.divide(np.diff(flat[:, own.start : own.stop + 1]), step[own], out=chord[:, own])
            let_go(flat, chord)
        slope = _slopes(step, chord)
        cube, square = room((2, *chord.shape))
        for own in rows_at_once(len(step)):
            first, h, s = slope[:, own], step[own], chord[:, own]
            bend = (first + slope[:, own.start + 1 : own.stop + 1] - 2 * s) / h
            np.divide(bend, h, out=cube[:, own])
            np.subtract((s - first) / h, bend, out=square[:, own])
            let_go(chord, cube)
        self.at, self.powers = at, (cube, square, slope[:, :-1], flat[:, :-1])  # from the highest power down

    def __call__(self, t: np.ndarray, derivative: int = 0) -> np.ndarray:
        """Values, or first or second derivatives, at times; the end pieces go on beyond both ends.

        Parameters
        ----------
        t : (N,)
        derivative : 0, 1 or 2

        Returns
        -------
        (N, …)
        """
        return self._at(t, (_values, _derivatives, _second_derivatives)[derivative])

    def integral(self, t: np.ndarray) -> np.ndarray:
        """(N, …) integral from the first sample to times (N,)."""
        whole = room(self.powers[-1].shape)
        whole[:, 0] = 0.0
        c0, c1, c2, c3 = self.powers
        for own in rows_at_once(len(self.at) - 2):
            ends = slice(own.start, own.stop + 1)
            parts = _integrated(c0[:, own], c1[:, own], c2[:, own], c3[:, own], np.diff(self.at[ends]))
            parts[:, 0] += whole[:, own.start]
            np.cumsum(parts, axis=1, out=whole[:, own.start + 1 : own.stop + 1])
        return self._at(t, _integrals, whole)

    def _at(self, t: np.ndarray, of: Callable[..., np.ndarray], *more: np.ndarray) -> np.ndarray:
        """(N, …) what `of` makes of the powers (d, N) of the pieces, times since their starts, and `more`."""
        out = room((len(t), len(self.powers[0])))
        for own in rows_at_once(len(t)):
            piece, s = self._placed(t[own])
            powers = (c.take(piece, 1) for c in self.powers)
            out[own] = of(*powers, s, *(values.take(piece, 1) for values in more)).T
            let_go(out, self.powers[0], self.powers[-1], *more)
        return out.reshape(len(t), *self.shape)

    def _placed(self, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(N,) piece that each time lies in, and (N,) how far behind its start."""
        piece = np.clip(np.searchsorted(self.at, t, side="right") - 1, 0, len(self.at) - 2)
        return piece, t - self.at[piece]


def _values(c0: np.ndarray, c1: np.ndarray, c2: np.ndarray, c3: np.ndarray, s: np.ndarray) -> np.ndarray:
    """Of pieces at s from their starts."""
    c3 += c2 * s
    c3 += c1 * (s * s)
    c3 += c0 * (s * s * s)
    return c3


def _integrals(
    c0: np.ndarray, c1: np.ndarray, c2: np.ndarray, c3: np.ndarray, s: np.ndarray, before: np.ndarray
) -> np.ndarray:
    """Integrals from the first sample, `before` up to the pieces."""
    return before + _integrated(c0, c1, c2, c3, s)


def _derivatives(c0: np.ndarray, c1: np.ndarray, c2: np.ndarray, _: np.ndarray, s: np.ndarray) -> np.ndarray:
    """First derivatives, likewise."""
    c2 += c1 * s * 2
    c2 += c0 * (s * s) * 3
    return c2


def _second_derivatives(
    c0: np.ndarray, c1: np.ndarray, _: np.ndarray, __: np.ndarray, s: np.ndarray
) -> np.ndarray:
    """Second derivatives, likewise."""
    return 2 * c1 + c0 * s * 6


def _integrated(c0: np.ndarray, c1: np.ndarray, c2: np.ndarray, c3: np.ndarray, s: np.ndarray) -> np.ndarray:
    """Integrals of pieces over s from their starts."""
    return s * (c3 + s * (c2 / 2 + s * (c1 / 3 + s * (c0 / 4))))


def _slopes(h: np.ndarray, chord: np.ndarray) -> np.ndarray:
    """(d, n) slopes at the knots, of (n − 1,) steps and (d, n − 1) slopes of chords."""
    right = np.empty((len(chord), len(h) + 1))
    for own in rows_at_once(len(h) - 1):
        next_ = slice(own.start + 1, own.stop + 1)
        right[:, next_] = 3 * (h[next_] * chord[:, own] + h[own] * chord[:, next_])
        let_go(chord)
    first, last = h[0] + h[1], h[-2] + h[-1]
    right[:, 0] = ((h[0] + 2 * first) * h[1] * chord[:, 0] + h[0] ** 2 * chord[:, 1]) / first
    right[:, -1] = (h[-1] ** 2 * chord[:, -2] + (2 * last + h[-1]) * h[-2] * chord[:, -1]) / last
    below, above = np.append(h[1:], last), np.concatenate([[first], h[:-1]])
    middle = np.concatenate([h[1:2], 2 * (h[:-1] + h[1:]), h[-2:-1]])
    return dgtsv(below, middle, above, right.T, overwrite_b=1)[3].T
