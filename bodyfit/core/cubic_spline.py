"""Cubic splines through samples: all that a fit would load a third of a second of scipy.interpolate for."""

from __future__ import annotations

import numpy as np
from scipy.linalg.lapack import dgtsv


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
        at = np.asarray(at, float)
        flat = np.ascontiguousarray(np.asarray(values, float).reshape(len(at), -1).T)  # time last: quick
        step = np.diff(at)
        chord = np.diff(flat) / step
        slope = _slopes(step, chord)
        bend = (slope[:, :-1] + slope[:, 1:] - 2 * chord) / step
        square = (chord - slope[:, :-1]) / step - bend
        self.at, self.shape = at, np.shape(values)[1:]
        self.powers = (bend / step, square, slope[:, :-1], flat[:, :-1])  # from the highest power down

    def __call__(self, t: np.ndarray, derivative: int = 0) -> np.ndarray:
        """Values, or first derivatives, at times; the end pieces go on beyond both ends.

        Parameters
        ----------
        t : (N,)
        derivative : 0 or 1

        Returns
        -------
        (N, …)
        """
        piece, s = self._placed(t)
        c0, c1, c2, c3 = self.powers
        if derivative:
            out = c2.take(piece, 1)
            out += c1.take(piece, 1) * s * 2
            out += c0.take(piece, 1) * (s * s) * 3
        else:
            out = c3.take(piece, 1)
            out += c2.take(piece, 1) * s
            out += c1.take(piece, 1) * (s * s)
            out += c0.take(piece, 1) * (s * s * s)
        return self._shaped(out)

    def integral(self, t: np.ndarray) -> np.ndarray:
        """(N, …) integral from the first sample to times (N,)."""
        whole = np.zeros_like(self.powers[-1])
        np.cumsum(_integrated(*self.powers, np.diff(self.at))[:, :-1], axis=1, out=whole[:, 1:])
        piece, s = self._placed(t)
        c0, c1, c2, c3 = (c.take(piece, 1) for c in self.powers)
        return self._shaped(whole.take(piece, 1) + _integrated(c0, c1, c2, c3, s))

    def _placed(self, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(N,) piece that each time lies in, and (N,) how far behind its start."""
        piece = np.clip(np.searchsorted(self.at, t, side="right") - 1, 0, len(self.at) - 2)
        return piece, t - self.at[piece]

    def _shaped(self, out: np.ndarray) -> np.ndarray:
        """(N, …) of (d, N)."""
        return np.ascontiguousarray(out.T).reshape(out.shape[1], *self.shape)


def _integrated(c0: np.ndarray, c1: np.ndarray, c2: np.ndarray, c3: np.ndarray, s: np.ndarray) -> np.ndarray:
    """Integrals of pieces over s from their starts."""
    return s * (c3 + s * (c2 / 2 + s * (c1 / 3 + s * (c0 / 4))))


def _slopes(h: np.ndarray, chord: np.ndarray) -> np.ndarray:
    """(d, n) slopes at the knots, of (n − 1,) steps and (d, n − 1) slopes of chords."""
    right = np.empty((len(chord), len(h) + 1))
    right[:, 1:-1] = 3 * (h[1:] * chord[:, :-1] + h[:-1] * chord[:, 1:])
    first, last = h[0] + h[1], h[-2] + h[-1]
    right[:, 0] = ((h[0] + 2 * first) * h[1] * chord[:, 0] + h[0] ** 2 * chord[:, 1]) / first
    right[:, -1] = (h[-1] ** 2 * chord[:, -2] + (2 * last + h[-1]) * h[-2] * chord[:, -1]) / last
    below, above = np.append(h[1:], last), np.concatenate([[first], h[:-1]])
    middle = np.concatenate([h[1:2], 2 * (h[:-1] + h[1:]), h[-2:-1]])
    return dgtsv(below, middle, above, right.T, overwrite_b=1)[3].T
