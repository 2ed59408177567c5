"""The clock of one unit against that of another: the offset at which both feel one force at their joint."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.ndimage import binary_opening, uniform_filter1d

from ...alignment.joint_equations import TURN_BASIS, arms_solved, by_heading, projected
from ...core.arrays.scratch import let_go, rows_at_once
from ...core.gravity import STANDARD_GRAVITY
from ...core.robust import SD_BY_MEDIAN, huber
from ...core.rotations import UP
from ...recording.sampling import BRIDGED_S
from ...recording.single_units import Unaided

LARGEST_S = 0.5  # s, offsets that are looked for; chosen; not tried
STRETCH_S = 20.0  # over which the heading between two units is taken for constant; chosen; not tried
SHORTEST_S = 5.0  # less motion leaves several offsets open; chosen; not tried
MOST_STRETCHES = 8  # per pair; these with most motion, spread over the capture; chosen; not tried
SEARCHED = 3  # of these, where every offset is tried; chosen; not tried
SEARCH_HZ = 20.0  # the forces are low-passed to 2 Hz; by reasoning: ten samples of the fastest wave
HEADINGS = 24  # tried with each offset; by reasoning: 15° apart, Gauss–Newton goes on from the best
# m/s², disagreement at a joint: at first, and lower bound; by reasoning: `Weights.joint`, `joint_least`
JOINT_SD, JOINT_LEAST = 0.4, 0.1
ALIKE_S = 0.15  # s over which it is alike; by reasoning: `Weights.joint_s`
LEVER_SD = 0.3  # m; by reasoning: `Weights.lever`
# log-likelihood by which the best offset must lead the next best (a chance of 1 in e¹⁰); chosen; not tried
CLEAR = 10.0
APART_S = 0.1  # s, offsets nearer than this are the same one; by reasoning: half a period of 5 Hz
STEPS = 6  # of Gauss–Newton; chosen; not tried
ALIKE_LEAST = 0.8  # correlation of angular rates below which two units do not turn alike; chosen; not tried
# s, by which segments of one body turn after each other; tried: on what is not written down
RATES_DIFFER_S = 0.03


@dataclass(frozen=True, eq=False)
class PairClock:
    """By how much a child's stamps are late against its parent's, stretch by stretch.

    Attributes
    ----------
    units : parent, child
    at : (n,) s, middle of each stretch; none where the motion does not tell
    offset, sd : (n,) s
    share : disagreement at their joint where they agree best, of what both feel there; 1: not known
    """

    units: tuple[int, int]
    at: np.ndarray
    offset: np.ndarray
    sd: np.ndarray
    share: float = 1.0


@dataclass(frozen=True, eq=False)
class FeltBy:
    """(N, 3, 4) lever matrix | force of one of several units, world frame; only what is asked for is made."""

    one: Unaided
    unit: int

    def __len__(self) -> int:
        return len(self.one.force)

    def __getitem__(self, at: slice | np.ndarray) -> np.ndarray:
        lever, force = self.one.lever[at, self.unit], self.one.force[at, self.unit]
        return np.concatenate([lever, force[..., None]], -1)


def pair_clock(one: Unaided, parent: int, child: int) -> PairClock:
    """Clock of a child against its parent's, from their joint.

    Parameters
    ----------
    one : each unit by itself
    parent, child : units on either side of one joint

    Returns
    -------
    PairClock

    Notes
    -----
    With the child read at t + δ the disagreement F_p + L_p r_p − Ry(ψ) (F_c + L_c r_c)(t + δ) is linear in
    the arms r. Every δ on a grid and every heading ψ is tried, arms solved for (variable projection, as in
    `joint_start`); with its own size unknown, the log-likelihood is −(n/2) log Σ|e|². From the best,
    Gauss–Newton over (r, ψ, δ) with robust weights gives offset and standard deviation.
    """
    own = FeltBy(one, parent), FeltBy(one, child)
    known = one.known[:, [parent, child]].astype(float)
    spans = _stretches(one, parent, child)
    if not spans:
        return _untold(parent, child)
    motion = _motion(one, parent, child)
    most = sorted(spans, key=lambda span: -motion[span].sum())[:SEARCHED]
    shift, lead, share = _searched(one, own, known[:, 0], most)
    if lead < CLEAR:
        return _untold(parent, child, share)
    found = np.array([_refined(one.step, own[0], own[1], known, span, shift) for span in spans])
    at = np.array([0.5 * (one.time[span.start] + one.time[span.stop - 1]) for span in spans])
    inside = np.isfinite(found).all(1)
    return PairClock((parent, child), at[inside], found[inside, 0], found[inside, 1], share)


def _untold(first: int, second: int, share: float = 1.0) -> PairClock:
    """Two units of which the motion does not tell the clocks."""
    return PairClock((first, second), np.zeros(0), np.zeros(0), np.zeros(0), share)


def _motion(one: Unaided, parent: int, child: int) -> np.ndarray:
    """(N,) how much there is to compare: the lesser of both units' changes of force, (m/s²)²."""
    out = one.known[:, parent] & one.known[:, child]
    out, means = out.astype(float), [one.force[:, u].mean(0) for u in (parent, child)]
    for at in rows_at_once(len(out)):
        moved = [one.force[at, u] - mean for u, mean in zip((parent, child), means, strict=True)]
        out[at] *= np.min([np.einsum("ni,ni->n", v, v) for v in moved], axis=0)
        let_go(one.force)
    return out


def _stretches(one: Unaided, parent: int, child: int) -> list[slice]:
    """Stretches with most motion, spread over the capture, away from its ends and from long gaps."""
    margin = round(LARGEST_S / one.step) + 1
    inside = len(one.time) - 2 * margin
    size = min(inside, round(STRETCH_S / one.step))
    if size * one.step < SHORTEST_S:
        return []
    begin = margin + np.arange(inside - size + 1)
    total = np.concatenate([[0.0], np.cumsum(_motion(one, parent, child))])
    gone = ~one.known[:, [parent, child]].all(1)
    long = binary_opening(gone, np.ones(max(2, round(BRIDGED_S / one.step)), bool))
    lost = np.concatenate([[0], np.cumsum(long)])
    gain = np.where(lost[begin + size] == lost[begin], total[begin + size] - total[begin], -1.0)
    parts = np.array_split(np.arange(len(begin)), min(MOST_STRETCHES, max(1, inside // size)))
    best = [int(part[np.argmax(gain[part])]) for part in parts]
    return [slice(int(begin[k]), int(begin[k]) + size) for k in best if gain[k] > 0]


def _searched(
    one: Unaided, own: tuple[FeltBy, FeltBy], known: np.ndarray, spans: list[slice]
) -> tuple[int, float, float]:
    """Shift in samples at which all stretches agree best, its lead over the next best, and its share."""
    stride = max(1, int(1 / (one.step * SEARCH_HZ)))
    margin = round(LARGEST_S / (one.step * stride))
    total, missed, felt = np.zeros((3, 2 * margin + 1))
    for span in spans:
        at = np.arange(span.start, span.stop, stride)
        around = at[0] + stride * np.arange(-margin, len(at) + margin)
        around = np.clip(around, 0, len(own[1]) - 1)
        cost = _costs(own[0][at], own[1][around], known[at], len(total)).min(1)
        cost = np.maximum(cost, len(at) * JOINT_LEAST**2)
        total += 1.5 * len(at) * one.step * stride / ALIKE_S * np.log(cost / cost.min())
        missed += cost
        felt += squared(own[0][at], known[at]).sum()
        felt += np.convolve(squared(own[1][around], np.ones(len(around))), known[at][::-1], "valid")
    best = int(np.argmin(total))
    apart = np.abs(np.arange(len(total)) - best) * one.step * stride > APART_S
    valley = np.r_[True, total[1:] <= total[:-1]] & np.r_[total[:-1] <= total[1:], True]
    others = total[apart & valley]
    lead = float(np.min(others, initial=np.inf) - total[best])
    return (best - margin) * stride, lead, float(np.sqrt(missed[best] / felt[best]))


def squared(values: np.ndarray, known: np.ndarray) -> np.ndarray:
    """What a unit feels beside gravity, squared, and at least what counts as agreement.

    Parameters
    ----------
    values : (n, 3, 4), lever matrix | force, world frame
    known : (n,) weights

    Returns
    -------
    (n,) m²/s⁴
    """
    return known * (np.sum((values[..., 3] - STANDARD_GRAVITY * UP) ** 2, -1) + JOINT_LEAST**2)


def _costs(P: np.ndarray, C: np.ndarray, known: np.ndarray, shifts: int) -> np.ndarray:
    """(shifts, HEADINGS) sums of squares, arms solved for; P (n, 3, 4), C (n + shifts − 1, 3, 4)."""
    n = len(P)
    weighed = (known[:, None, None] * P).reshape(n, 12)
    seen = sliding_window_view(C.reshape(len(C), 12), n, axis=0)
    cross = (seen @ weighed).reshape(shifts, 3, 4, 3, 4)
    pc = np.einsum("bac,sclaj->sbjl", np.array(TURN_BASIS), cross)
    pp = weighed.reshape(-1, 4).T @ P.reshape(-1, 4)
    outer = np.swapaxes(C, -1, -2).copy() @ C
    outer = outer.reshape(len(C), 16)
    cc = (sliding_window_view(outer, n, axis=0) @ known).reshape(shifts, 4, 4)
    turned = np.einsum("hb,sbjl->shjl", by_heading(HEADING_GRID), pc).reshape(-1, 4, 4)
    precision = np.eye(6) * (JOINT_SD / LEVER_SD) ** 2
    H, b, c = projected(pp, turned, np.repeat(cc, HEADINGS, 0), np.zeros(6), precision)
    return (c - arms_solved(H, b)[1]).reshape(shifts, HEADINGS)


HEADING_GRID = np.arange(HEADINGS) * 2 * np.pi / HEADINGS  # rad, the circle in HEADINGS parts, by definition


def _refined(
    step: float,
    parent: FeltBy,
    child: FeltBy,
    known: np.ndarray,
    span: slice,
    shift: int,
) -> tuple[float, float]:
    """Offset and its standard deviation, s, in one stretch; NaN where it runs out of reach."""
    margin, P = round(LARGEST_S / step), parent[span]
    prior = np.diag(np.r_[np.full(6, LEVER_SD**-2), 0.0, 1e-9])
    at, x = slice(span.start + shift, span.stop + shift), np.zeros(8)  # arms, heading, offset left over
    x[6] = HEADING_GRID[np.argmin(_costs(P, child[at], known[span, 0], 1))]
    sd, covariance = JOINT_SD, np.full((8, 8), np.nan)
    J = np.zeros((len(P), 3, 8))
    J[..., :3] = P[..., :3]
    for iteration in range(STEPS):
        slope = np.gradient(child[at.start - 1 : at.stop + 1], step, axis=0)[1:-1]
        C = _turned(child[at] + x[7] * slope, x[6])
        there, onwards = _felt(C, x[3:6]), _turned(_felt(slope, x[3:6]), x[6])
        e = _felt(P, x[:3]) - there
        J[..., 3:6], J[..., 7] = -C[..., :3], -onwards
        J[:, 0, 6], J[:, 2, 6] = -there[:, 2], there[:, 0]  # −ŷ × there
        if iteration > 1:
            sd = max(JOINT_LEAST, float(SD_BY_MEDIAN * np.sqrt(np.mean(np.median(np.abs(e), axis=0) ** 2))))
        w = known[span, 0] * known[at, 1] * huber(e, sd) * step / (ALIKE_S * sd**2)
        weighed = (w[:, None, None] * J).reshape(-1, 8)
        covariance = np.linalg.inv(weighed.T @ J.reshape(-1, 8) + prior)
        x = x - covariance @ (weighed.T @ e.ravel() + prior @ np.r_[x[:6], 0.0, 0.0])
        whole = int(np.clip(np.round(x[7] / step), -margin - shift, margin - shift))
        shift, x[7] = shift + whole, np.clip(x[7] - whole * step, -step, step)
        at = slice(span.start + shift, span.stop + shift)
        if abs(shift) >= margin:
            return np.nan, np.nan
    return shift * step + x[7], float(np.sqrt(covariance[7, 7]))


def _felt(values: np.ndarray, arm: np.ndarray) -> np.ndarray:
    """(n, 3) force at a lever arm (3,), of values (n, 3, 4): lever matrix | force."""
    return (values.reshape(-1, 4) @ np.append(arm, 1.0)).reshape(-1, 3)


def _turned(values: np.ndarray, heading: float) -> np.ndarray:
    """World vectors or matrices (n, 3, ...) turned about the vertical."""
    cos, sin, out = np.cos(heading), np.sin(heading), values.copy()
    out[:, 0] = cos * values[:, 0] + sin * values[:, 2]
    out[:, 2] = cos * values[:, 2] - sin * values[:, 0]
    return out


def rate_clock(one: Unaided, first: int, second: int) -> PairClock:
    """Clock of a second unit against a first, from the size of their angular rates, where these look alike.

    Parameters
    ----------
    one : each unit by itself
    first, second : units of one body

    Returns
    -------
    PairClock, with at most one offset; coarse, since different segments do not turn quite alike

    Notes
    -----
    Greatest correlation ρ over all shifts, refined by a parabola. Its deviation is the Cramér–Rao bound of a
    delay between two noisy copies of one signal, 1 − ρ² over ρ² n β², β the signal's root mean square angular
    frequency (Quazi 1981, doi:10.1109/TASSP.1981.1163618, from memory), with n samples that are not alike.
    """
    none = _untold(first, second)
    margin = round(LARGEST_S / one.step)
    rate = np.linalg.norm(one.signals.rate[:, [first, second]], axis=-1) * one.known[:, [first, second]]
    if (len(rate) - 2 * margin) * one.step < SHORTEST_S:
        return none
    a, b = (uniform_filter1d(x - x.mean(), max(1, round(0.2 / one.step))) for x in rate.T)
    inside, shifts = slice(margin, len(a) - margin), np.arange(-margin, margin + 1)
    seen = sliding_window_view(b, len(a) - 2 * margin)
    size = np.sqrt(np.sum(a[inside] ** 2) * np.sum(seen**2, axis=1))
    rho = seen @ a[inside] / np.maximum(size, 1e-12)
    k = int(np.clip(np.argmax(rho), 1, 2 * margin - 1))
    if rho[k] < ALIKE_LEAST or k in (1, 2 * margin - 1):
        return none
    bend = rho[k - 1] - 2 * rho[k] + rho[k + 1]
    top = shifts[k] - 0.5 * (rho[k + 1] - rho[k - 1]) / min(bend, -1e-12)
    beta2 = float(np.mean(np.gradient(a, one.step) ** 2) / np.mean(a**2))
    n = max(1.0, len(a) * one.step / ALIKE_S)
    sd = float(np.hypot(np.sqrt((1 - rho[k] ** 2) / (rho[k] ** 2 * n * beta2)), RATES_DIFFER_S))
    middle = 0.5 * (one.time[0] + one.time[-1])
    return PairClock((first, second), np.array([middle]), np.array([top * one.step]), np.array([sd]))
