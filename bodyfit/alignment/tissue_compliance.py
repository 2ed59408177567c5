"""How softly units sit, from how far the joints seem to gape: the level of soft-tissue motion."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..core.arrays.scratch import let_go, room, rows_at_once
from ..recording.keyframe_averages import HALF_WINDOW_S, Averages
from .joint_centre import Ends, joint_forces

# where bodies move: below, errors of accelerometers swamp it; above, averages hide it; chosen; not tried
BAND_HZ = (0.7, 2.5)
WELCH_S = 8.0  # s, length of the pieces that the spectrum is averaged over; chosen; not tried
AT_ONCE = 256  # of these pieces, some 17 minutes of all joints, to bound memory; chosen; not tried
YIELD_M = 0.09  # m, see `softness`; tried: on simulated captures (docs/method.md, 10)
# s, of a stretch without a gap that shows whole oscillations of the slowest that count; by definition
SHORTEST_S = 1 / BAND_HZ[0]
# rad per m/s², where only shorter ones were measured; tried: on seeds 8000 to 8011 of
# tests/benchmarks/facing_in_pieces.py, pauses recorded, 3 to 6°/g come out of a simulated tissue of 3°/g
USUAL = np.radians(4.0) / 9.81
MISREAD = 0.005  # scale and cross-axis error of accelerometers as sold, a share: common practice


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
    pieces = max(8, round(WELCH_S / step))
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
    piece : number of values that one spectrum is made of; zeros are put behind fewer

    Returns
    -------
    f : (piece // 2 + 1,) Hz
    S : (piece // 2 + 1, ...) square of the values' unit per Hz

    Notes
    -----
    Welch 1967, doi:10.1109/TAU.1967.1161901: pieces that overlap by half, their mean taken off, a Hann window
    w, mean of |DFT|² · 2 · step / Σ w². As scipy.signal.welch, whose import takes longer than a short fit.
    """
    own = min(piece, len(values))
    starts = np.arange(0, len(values) - own + 1, max(1, own - own // 2))
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(own) / own)
    window = window.reshape(-1, *[1] * (values.ndim - 1))
    total = np.zeros((piece // 2 + 1, *values.shape[1:]))
    for at in range(0, len(starts), AT_ONCE):
        pieces = values[starts[at : at + AT_ONCE, None] + np.arange(own)]  # (starts, own, ...)
        turned = np.fft.rfft((pieces - pieces.mean(1, keepdims=True)) * window, piece, axis=1)
        total += np.sum(np.abs(turned) ** 2, axis=0)
    S = total / len(starts) * 2 * step / np.sum(window**2)
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


def misread_gaps(felt: np.ndarray, step: float) -> np.ndarray:
    """Gaps that units without any soft tissue seem to have, since accelerometers misread what turns.

    Parameters
    ----------
    felt : (K + 1, J, 2, 3) m/s², specific force of both units of each joint, world frame
    step : s between keyframes

    Returns
    -------
    (J,) m, root mean square, as `joint_gaps`

    Notes
    -----
    A matrix E of scales and cross-axis errors with entries of standard deviation ε reads R E f too much: each
    component has the variance ε² |f|², f as the unit feels it, gravity's turning included; both ends add up.
    """
    return np.sqrt(3) * MISREAD * np.hypot(joint_gaps(felt[:, :, 0], step), joint_gaps(felt[:, :, 1], step))


def softness_of(
    average: Averages, R: np.ndarray, ends: Ends, levers: np.ndarray, up: np.ndarray, step: float
) -> float:
    """How softly this capture's units sit: what their joints gape more than rigid units would.

    Parameters
    ----------
    average : K + 1 keyframes of U units
    R : (K + 1, U, 3, 3) world_from_unit
    ends : of J joints
    levers : (J, 2, 3) m
    up : (3,) m/s², what is felt at rest, world frame
    step : s between keyframes

    Returns
    -------
    rad per m/s², see `softness`; zero without joints

    Notes
    -----
    Each stretch without a gap by itself, for in a gap nothing was felt. What moved in stretches too short to
    show a gap's oscillation counts with the usual softness: s² = share s_found² + (1 − share) s_usual².
    """
    parent, child = joint_forces(average, ends, levers)
    felt, pushed = room((len(R), *ends.units.shape, 3)), np.empty((len(R), *ends.units.shape))
    for at in rows_at_once(len(R)):
        felt[at] = np.einsum("kuba,kub->kua", R[at], average.force[at])[:, ends.units]
        pushed[at] = np.sum((average.force[at] - up) ** 2, -1)[:, ends.units]
        let_go(R, average.force, felt)
    known = average.known[:, ends.parents] & average.known[:, ends.children]
    gaps, loads, count = np.zeros(len(levers)), np.zeros((len(levers), 2)), np.zeros(len(levers))
    for joints, first, length in _stretches(known):
        if length * step >= SHORTEST_S:
            at = slice(first, first + length), joints
            squares = joint_gaps((parent - child)[at], step) ** 2 - misread_gaps(felt[at], step) ** 2
            gaps[joints] += length * squares
            loads[joints] += pushed[at].sum(0)
            count[joints] += length
    seen, moved = count > 0, np.sum(pushed * known[..., None])
    found = softness(*(np.sqrt(np.maximum(v[seen].T / count[seen], 0.0)).T for v in (gaps, loads)))
    share = min(1.0, loads.sum() / moved) if moved > 0 else 1.0
    return float(np.sqrt(share * found**2 + (1 - share) * USUAL**2))


def _stretches(known: np.ndarray) -> Iterator[tuple[np.ndarray, int, int]]:
    """Of (K + 1, J) bool: joints known at the same times, first keyframe and length of each such stretch."""
    masks, group = np.unique(known, axis=1, return_inverse=True)
    for number, mask in enumerate(masks.T):
        edges = np.flatnonzero(np.diff(np.r_[0, mask.astype(int), 0]))
        for first, end in zip(edges[::2], edges[1::2], strict=True):
            yield np.flatnonzero(group.ravel() == number), int(first), int(end - first)


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


def feigned_turning(average: Averages, up: np.ndarray, softness: float, step: float) -> np.ndarray:
    """What soft tissue adds to a unit's lever matrix, squared: its own turning against the bone.

    Parameters
    ----------
    average : K + 1 keyframes of U units
    up : (3,) m/s², what is felt at rest, world frame
    softness : rad per m/s², see `softness`
    step : s between keyframes

    Returns
    -------
    (K + 1, U) 1/s⁴, mean of a component of |θ̈ × r|² / |r|² over the directions of r

    Notes
    -----
    A unit that turns by θ = s a against its bone turns by θ̈ = s ä more than the bone, ä by differences of
    keyframes; |θ̈ × r|² is ⅔ |θ̈|² |r|² on average.
    """
    a = np.where(average.known[..., None], average.force - up, 0.0)
    change = np.zeros(a.shape)
    change[1:-1] = (a[2:] - 2 * a[1:-1] + a[:-2]) / step**2
    return 2 / 3 * (softness**2) * np.sum(change**2, -1)
