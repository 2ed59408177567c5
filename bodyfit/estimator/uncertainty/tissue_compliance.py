"""How softly units sit, from how far the joints seem to gape: the level of soft-tissue motion."""

from __future__ import annotations

import numpy as np

from ...recording.keyframe_averages import HALF_WINDOW_S

# where bodies move: below, errors of accelerometers swamp it; above, averages hide it; chosen; not tried
BAND_HZ = (0.7, 2.5)
WELCH_S = 8.0  # s, length of the pieces that the spectrum is averaged over; chosen; not tried
YIELD_M = 0.09  # m, see `softness`; tried: in simulation (docs/method.md, section 10)


def joint_gaps(disagreement: np.ndarray, step: float) -> np.ndarray:
    """Distance by which the two ends of each joint seem to part, root mean square.

    Parameters
    ----------
    disagreement : (K + 1, J, 3) m/s², of the specific forces at the joint centre, averaged about keyframes
    step : s between keyframes

    Returns
    -------
    (J,) m

    Notes
    -----
    ∫ S(f) / ((2πf)⁴ W(f)²) df over 0.7 to 2.5 Hz, S the spectral density, W the
    response of the averaging window: an acceleration a at frequency f is a path of a / (2πf)².
    """
    pieces = min(len(disagreement), max(8, round(WELCH_S / step)))
    f, S = spectral_density(disagreement, step, pieces)
    inside = (f >= BAND_HZ[0]) & (f <= BAND_HZ[1])
    gain = np.square((2 * np.pi * f[inside]) ** 2 * window_response(f[inside]))
    return np.sqrt(np.sum(S[inside] / gain[:, None, None], axis=(0, 2)) * f[1])


def spectral_density(values: np.ndarray, step: float, piece: int) -> tuple[np.ndarray, np.ndarray]:
    """One-sided spectral density along the first axis.

    Parameters
    ----------
    values : (T, ...)
    step : s between them
    piece : number of values that one spectrum is made of, T at most

    Returns
    -------
    f : (piece // 2 + 1,) Hz
    S : (piece // 2 + 1, ...) square of the values' unit per Hz

    Notes
    -----
    Welch 1967, doi:10.1109/TAU.1967.1161901: pieces that overlap by half, their mean taken off, a Hann window
    w, mean of |DFT|² · 2 · step / Σ w². As scipy.signal.welch, whose import takes longer than a short fit.
    """
    starts = np.arange(0, len(values) - piece + 1, piece - piece // 2)
    pieces = values[starts[:, None] + np.arange(piece)]  # (starts, piece, ...)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(piece) / piece)
    window = window.reshape(-1, *[1] * (values.ndim - 1))
    turned = np.fft.rfft((pieces - pieces.mean(1, keepdims=True)) * window, axis=1)
    S = np.mean(np.abs(turned) ** 2, axis=0) * 2 * step / np.sum(window**2)
    S[[0] if piece % 2 else [0, -1]] /= 2  # at the ends a frequency stands for itself only
    return np.fft.rfftfreq(piece, step), S


def window_response(f: np.ndarray) -> np.ndarray:
    """How much of an oscillation the averages about keyframes let through.

    Parameters
    ----------
    f : (n,) Hz

    Returns
    -------
    (n,) array, one at zero

    Notes
    -----
    Hann window of half width h: sinc(2 f h) / (1 − (2 f h)²), sinc x = sin πx / πx. Source: Harris 1978,
    doi:10.1109/PROC.1978.10837.
    """
    x = 2 * f * HALF_WINDOW_S
    one = np.isclose(x, 1.0)
    return np.where(one, 0.5, np.sinc(x) / np.where(one, 1.0, 1 - x**2))


def softness(gaps: np.ndarray, pushed: np.ndarray) -> float:
    """How far units of this capture turn against their bones under load: soft tissue, differing by wearer.

    Parameters
    ----------
    gaps : (J,) m
    pushed : (J, 2) m/s², root mean square acceleration of either unit

    Returns
    -------
    rad per m/s²; zero without joints

    Notes
    -----
    A unit that yields by s under an acceleration a parts its joint by s a b, b the distance between the joint
    and the place about which unit and skin move, some 9 cm (from simulation with a tissue that yields 3° and
    5 mm under 1 g). Median over the joints of gap / (b √(a_p² + a_c²)): units of one wearer are attached
    alike, and one loose unit must not decide for all.
    """
    if not len(gaps):
        return 0.0
    return float(np.median(gaps / np.maximum(np.linalg.norm(pushed, axis=1), 0.1)) / YIELD_M)
