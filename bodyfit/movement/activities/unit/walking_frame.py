"""Up and forward of the body in a unit's frame, from walking alone: no pose, no magnetometer."""

from __future__ import annotations

import numpy as np

from .samples import FREQUENCY
from .upright import directions
from .waves import autocorrelation, highest_peak, windows

HALF_S = 2.0  # s; tried: on activity_waist_phone, activity_pocket_phone, activity_waist_young_old
STEP_S, STRIDE_S = (0.4, 0.8), (0.84, 1.5)  # s; tried: as HALF_S
LEAST_REGULAR = 0.5  # tried: as HALF_S
SWAY = (0.6, 5.0)  # m/s², standard deviation of the vertical acceleration; tried: as HALF_S
CADENCE = (1.3, 2.3)  # steps a second; tried: as HALF_S
STRIDE_IS_SEEN = (
    0.3  # autocorrelation from which the stride, not the step, gives the cadence; tried: as HALF_S
)
LEAD = np.radians(100)  # forward leads vertical by 80 to 118° at step rate; tried: as HALF_S
NEAR = 0.8  # cosine of 37°, windows that tell the same direction; tried: as HALF_S
IN_PHASE = 0.5  # share of horizontal power that a window needs; tried: as HALF_S
LEAST_WINDOWS = 3  # by reasoning: one or two may be chance
ROUNDS = 10  # re-averaging settles within five; tried: as HALF_S


def walking_frame(force: np.ndarray, up: np.ndarray) -> np.ndarray | None:
    """Forward, left and up of the upright body, as rows in the unit's frame.

    Parameters
    ----------
    force : (N, 3) m/s²
    up : (N, 3) array, length one

    Returns
    -------
    (3, 3) rotation matrix body_from_unit, or None: too little walking

    Notes
    -----
    With F the Fourier coefficient at step rate, h two axes square to the mean up u and a_v = f·u, the vector
    z = F(h) / F(a_v) has its forward part at a phase of 100°: p = Re(z e^(−i 100°)) is forward with its sign.
    A window weighs regularity² (|p|²/|z|²)² |p|; the direction is the one with most weight near it.
    """
    seen = _walking_windows(force, up)
    if seen is None:
        return None
    pieces, cadence, regular = seen
    ups = directions(pieces.mean(1))
    middle = directions(np.median(ups, axis=0))
    basis = np.linalg.svd(middle[None])[2][1:]
    p, share = _in_phase(pieces, cadence, middle, basis)
    weight = regular**2 * share**2 * np.linalg.norm(p, axis=1)
    heading = p / np.maximum(np.linalg.norm(p, axis=1, keepdims=True), 1e-12)
    best = heading[((heading @ heading.T > NEAR) @ weight).argmax()]
    inner = heading @ best > NEAR
    for _ in range(ROUNDS):
        best = (weight[inner, None] * heading[inner]).sum(0)
        best = best / np.linalg.norm(best)
        inner = heading @ best > NEAR
    inner &= share > IN_PHASE
    return frame_of(ups[inner].mean(0), best @ basis) if inner.sum() >= LEAST_WINDOWS else None


def _walking_windows(force: np.ndarray, up: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """(W, n, 3) specific force, (W,) steps a second, (W,) regularity of windows that look like walking."""
    half = int(HALF_S * FREQUENCY)
    centres = np.arange(half, len(force) - half + 1, int(FREQUENCY))
    if len(centres) < LEAST_WINDOWS:
        return None
    vertical = windows(np.sum(force * up, 1), centres, half)
    correlation = autocorrelation(vertical)
    one, step = highest_peak(correlation, STEP_S[0] * FREQUENCY, STEP_S[1] * FREQUENCY)
    two, stride = highest_peak(correlation, STRIDE_S[0] * FREQUENCY, STRIDE_S[1] * FREQUENCY)
    regular, sway = np.maximum(one, two), vertical.std(1)
    cadence = 2 * FREQUENCY / np.where(two > STRIDE_IS_SEEN, stride, 2 * step)
    walks = (regular > LEAST_REGULAR) & (sway > SWAY[0]) & (sway < SWAY[1])
    walks &= (cadence > CADENCE[0]) & (cadence < CADENCE[1])
    if walks.sum() < LEAST_WINDOWS:
        return None
    return windows(force, centres[walks], half), cadence[walks], regular[walks]


def _in_phase(
    pieces: np.ndarray, cadence: np.ndarray, up: np.ndarray, basis: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(W, 2) forward in `basis`, up to length, and (W,) its share of the horizontal power at step rate."""
    count = pieces.shape[1]
    wave = np.exp(-2j * np.pi * np.arange(count) / FREQUENCY * cadence[:, None]) * np.hanning(count)
    level = pieces - pieces.mean(1, keepdims=True)
    vertical = np.sum(level @ up * wave, 1)
    z = np.einsum("wnk,wn->wk", level @ basis.T, wave) / vertical[:, None]
    p = (z * np.exp(-1j * LEAD)).real
    return p, np.sum(p**2, 1) / np.maximum(np.sum(np.abs(z) ** 2, 1), 1e-12)


def frame_of(up: np.ndarray, forward: np.ndarray) -> np.ndarray:
    """Body_from_unit whose up is exact and whose forward is as near as it may be.

    Parameters
    ----------
    up, forward : (3,) arrays, unit frame

    Returns
    -------
    (3, 3) rotation matrix, rows forward, left, up
    """
    up = directions(up)
    forward = directions(forward - (forward @ up) * up)
    return np.stack([forward, np.cross(up, forward), up])
