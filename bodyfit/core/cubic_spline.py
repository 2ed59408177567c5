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
        flat = np.ascontiguousarray(values, float).reshape(len(at), -1)
        step = np.diff(at)
        chord = np.diff(flat, axis=0) / step[:, None]
        slope = _slopes(step, chord)
        bend = (slope[:-1] + slope[1:] - 2 * chord) / step[:, None]
        self.at, self.shape = at, np.shape(values)[1:]
        square = (chord - slope[:-1]) / step[:, None] - bend
        self.powers = (bend / step[:, None], square, slope[:-1], flat[:-1])  # from the highest power down

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
            out = c2[piece] + c1[piece] * s * 2 + c0[piece] * (s * s) * 3
        else:
            out = c3[piece] + c2[piece] * s + c1[piece] * (s * s) + c0[piece] * (s * s * s)
        return out.reshape(len(t), *self.shape)

    def integral(self, t: np.ndarray) -> np.ndarray:
        """(N, …) integral from the first sample to times (N,)."""
        c0, c1, c2, c3 = self.powers
        step = np.diff(self.at)[:, None]
        whole = np.zeros_like(c3)
        np.cumsum(_integrated(c0, c1, c2, c3, step)[:-1], axis=0, out=whole[1:])
        piece, s = self._placed(t)
        out = whole[piece] + _integrated(c0[piece], c1[piece], c2[piece], c3[piece], s)
        return out.reshape(len(t), *self.shape)

    def _placed(self, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(N,) piece that each time lies in, and (N, 1) how far behind its start."""
        piece = np.clip(np.searchsorted(self.at, t, side="right") - 1, 0, len(self.at) - 2)
        return piece, (t - self.at[piece])[:, None]


def _integrated(c0: np.ndarray, c1: np.ndarray, c2: np.ndarray, c3: np.ndarray, s: np.ndarray) -> np.ndarray:
    """Integrals of pieces over s from their starts."""
    return s * (c3 + s * (c2 / 2 + s * (c1 / 3 + s * (c0 / 4))))


def _slopes(step: np.ndarray, chord: np.ndarray) -> np.ndarray:
    """(n, d) slopes at the knots, of (n − 1,) steps and (n − 1, d) slopes of chords."""
    h = step[:, None]
    right = np.empty((len(step) + 1, chord.shape[1]), order="F")
    right[1:-1] = 3 * (h[1:] * chord[:-1] + h[:-1] * chord[1:])
    first, last = step[0] + step[1], step[-2] + step[-1]
    right[0] = ((step[0] + 2 * first) * step[1] * chord[0] + step[0] ** 2 * chord[1]) / first
    right[-1] = (step[-1] ** 2 * chord[-2] + (2 * last + step[-1]) * step[-2] * chord[-1]) / last
    below, above = np.append(step[1:], last), np.concatenate([[first], step[:-1]])
    middle = np.concatenate([step[1:2], 2 * (step[:-1] + step[1:]), step[-2:-1]])
    return dgtsv(below, middle, above, right, overwrite_b=1)[3]
