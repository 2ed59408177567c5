"""How a constant vector's slow change in the unit tells the axes of the gyroscope, where little turns."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

# s, length of the triangle that averages; tried: 0.5 to 4 on cello_arm, whose bowing then averages out
SMOOTH_S = 4.0
# share of the change that turning explains with the best axes, or nothing is said; tried: true axes on
# cello_arm 0.90 to 0.99, on chain_soft 0.5 to 0.9, wrong ones on knee_landing and steel_stairs below 0.3
EXPLAINS = 0.8
# parts that must each tell; tried: 1, 3 on 39 sound motions of 6 to 41 s: with 1 false alarms in 16
PARTS = 3
LEAST = 2 * SMOOTH_S  # s, of each of them; by reasoning: else its averages are of the same samples
LEVI_CIVITA = np.zeros((3, 3, 3))  # by definition, with the next two lines
LEVI_CIVITA[[0, 1, 2], [1, 2, 0], [2, 0, 1]] = 1.0  # by definition
LEVI_CIVITA[[0, 2, 1], [2, 1, 0], [1, 0, 2]] = -1.0  # by definition


def unexplained_change(
    rate: np.ndarray, vector: np.ndarray, known: np.ndarray, step: float, axes: np.ndarray
) -> np.ndarray | None:
    """Share of the vector's change in the unit that turning does not explain, with each choice of axes.

    Parameters
    ----------
    rate : (N, 3) rad/s, unit frame
    vector : (N, 3) specific force or field, unit frame
    known : (N,) bool, both were sampled
    step : s between samples
    axes : (n, 3, 3) signed permutations

    Returns
    -------
    (3, n) shares in each third, 0 where all is explained, above 1 where the change is made worse; or None
    where one is too short, or even the best axes explain too little of the whole to tell

    Notes
    -----
    A vector v constant in the world obeys dv/dt = −ω × v in the unit, which holds after averaging, too:
    d⟨v⟩/dt = −⟨(Qω) × v⟩ with the true axes Q. Acceleration, which is not constant, has no lasting change and
    averages out where it is slow to turn; where it does not, no axes explain the change. Share:
    Σ |d⟨v⟩/dt + ⟨(Qω) × v⟩|² / Σ |d⟨v⟩/dt|². Of 48 axes some fit any few numbers, so each third of the
    recording is asked by itself.
    """
    half = max(1, round(SMOOTH_S / 2 / step))

    def averaged(values: np.ndarray) -> np.ndarray:
        return uniform_filter1d(uniform_filter1d(values, half, 0, mode="nearest"), half, 0, mode="nearest")

    rate, vector = np.where(known[:, None], rate, 0.0), np.where(known[:, None], vector, 0.0)
    good = averaged(known.astype(float)) > 1 - 1e-9
    good[:half], good[-half:] = False, False
    at = np.flatnonzero(good)[:: max(1, half // 4)]
    if len(at) * max(1, half // 4) * step < PARTS * LEAST:
        return None
    change = np.gradient(averaged(vector), step, axis=0)[at]
    # (Qω × v)_i = ε_ijk Q_jl ω_l v_k
    by_axes = np.einsum("ijk,qjl->klqi", LEVI_CIVITA, axes).reshape(9, -1)
    both = np.concatenate([averaged(vector[:, k, None] * rate)[at] for k in range(3)], 1)  # ⟨v_k ω_l⟩
    turned = (both @ by_axes).reshape(len(at), -1, 3)
    off = np.sum((change[:, None] + turned) ** 2, axis=2)
    parts = zip(np.array_split(off, PARTS), np.array_split(change, PARTS), strict=True)
    left = np.stack([np.sum(o, 0) / max(float(np.sum(c**2)), 1e-300) for o, c in parts])
    whole = np.sum(off, 0) / max(float(np.sum(change**2)), 1e-300)
    return left if whole.min() < 1 - EXPLAINS else None
