"""Elastic distance of a movement to every stretch of a stream, and the alignment of stretches to it.

With :math:`c_{ij} = |x_j - y_i|^2` for stream x and template y, steps of one weight per template sample::

    D(i, j) = min( D(i-1, j-1) + c(i, j),
                   D(i-1, j-2) + (c(i, j-1) + c(i, j)) / 2 + p,   the stream goes at half the tempo
                   D(i-2, j-1) + c(i-1, j) + c(i, j) + p )        at twice the tempo

so that the tempo stays within half and twice the template's, and at it (by the small p) where nothing
moves. No cell needs another of the same i: a row is computed for all times at once, and the only loop runs
over the samples of the short template.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

ROWS_AT_ONCE = 32  # template samples whose costs are computed in one product (by reasoning: a cache full)
# p, in shares of what standing still costs a template sample (tried: 0 to 0.1: starts and ends of invented
# movements off by 0.25 s without, 0.03 s from 0.03 on; from there on reps_physio_5units finds fewer)
STEADY = 0.03
FAR = 1e30  # cost of what no path reaches (by reasoning: within single precision)


def subsequences(stream: np.ndarray, template: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean cost of the best match that ends at each sample of a stream, and where that match starts.

    Parameters
    ----------
    stream : (n, c) array
    template : (m, c) array, same channels

    Returns
    -------
    cost : (n,) mean squared distance a template sample; huge where no match can end
    start : (n,) index of the first sample of that match; it ends with the sample itself

    Notes
    -----
    In single precision: distances are good to 1e-5 of a sample's own size. Search of subsequences by dynamic
    time warping with a free start: Sakurai, Faloutsos & Yamamuro 2007, doi:10.1109/ICDE.2007.368963; the
    local steps are those of Sakoe & Chiba 1978, doi:10.1109/TASSP.1978.1163055, slope within 1/2 and 2,
    weighted by the template's side (from memory).
    """
    stream, template = stream.astype(np.float32), template.astype(np.float32)
    n, penalty = len(stream), STEADY * spread(template)
    own = np.einsum("nc,nc->n", stream, stream)
    last = before = cost_before = np.full(n, FAR, np.float32)
    since = since_before = np.arange(n, dtype=np.int32)
    for i, cost in enumerate(_costs(stream, own, template)):
        if i == 0:
            last, cost_before = cost, cost
            continue
        now, slow, fast = _row(last, before, cost, cost_before, penalty)
        start = np.empty_like(since)
        start[0], start[1:] = 0, since[:-1]
        np.copyto(start[2:], since[:-2], where=slow[2:])
        np.copyto(start[1:], since_before[:-1], where=fast[1:])
        before, since_before, last, since, cost_before = last, since, now, start, cost
    return last.astype(float) / len(template), since.astype(int)


def aligned(stream: np.ndarray, template: np.ndarray, pieces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stream positions that match each sample of a template, in bounded stretches; all stretches at once.

    Parameters
    ----------
    stream : (n, c) array
    template : (m, c) array, same channels
    pieces : (f, 2) int, first sample of each stretch and the one after its last

    Returns
    -------
    position : (f, m) in samples of the stream, from first to last of the stretch, not whole where one
        template sample matches two; NaN where no path within half and twice the tempo exists
    cost : (f,) mean squared distance a template sample; huge where there is no path
    """
    pieces = np.asarray(pieces, int).reshape(-1, 2)
    m, lengths = len(template), pieces[:, 1] - pieces[:, 0]
    count, longest = len(pieces), int(lengths.max(initial=1))
    at = np.minimum(pieces[:, :1] + np.arange(longest), len(stream) - 1)
    x = stream[at].reshape(count * longest, -1)
    own = np.einsum("nc,nc->n", x, x)
    penalty = STEADY * spread(template)
    steps = np.zeros((m, count, longest), np.int8)
    far = np.full((count, longest), FAR)
    last, before, cost_before = far, far, far
    for i, flat in enumerate(_costs(x, own, template)):
        cost = flat.reshape(count, longest)
        if i == 0:
            now = far.copy()
            now[:, 0] = cost[:, 0]
        else:
            now, slow, fast = _row(last, before, cost, cost_before, penalty)
            steps[i] = np.where(fast, 2, slow)
        before, last, cost_before = last, now, cost
    end = np.maximum(lengths - 1, 0)
    total = last[np.arange(count), end] / m
    position = pieces[:, :1] + _traced(steps, end)
    position[total >= FAR / (2 * m)] = np.nan
    return position, total


def spread(template: np.ndarray) -> float:
    """Mean squared distance of a template from its mean: what standing still would cost.

    Parameters
    ----------
    template : (m, c) array

    Returns
    -------
    float
    """
    return float(((template - template.mean(0)) ** 2).sum(1).mean())


def _costs(stream: np.ndarray, own: np.ndarray, template: np.ndarray) -> Iterator[np.ndarray]:
    """(n,) squared distances of every stream sample to one template sample after the other."""
    for first in range(0, len(template), ROWS_AT_ONCE):
        y = template[first : first + ROWS_AT_ONCE]
        block = -2.0 * (y @ stream.T)
        block += own
        block += np.einsum("mc,mc->m", y, y)[:, None]
        yield from np.maximum(block, 0.0, out=block)


def _row(last, before, cost, cost_before, penalty):
    """The recursion at one template sample: costs, and where the slow and where the fast step was best.

    last, before : costs one and two template samples earlier; time is the last axis
    """
    out, slow, fast = np.empty_like(cost), np.zeros(cost.shape, bool), np.zeros(cost.shape, bool)
    out[..., 0] = FAR
    np.add(last[..., :-1], cost[..., 1:], out=out[..., 1:])
    way = cost[..., 1:-1] + cost[..., 2:]
    way *= 0.5
    way += last[..., :-2]
    way += penalty
    np.less(way, out[..., 2:], out=slow[..., 2:])
    np.minimum(out[..., 2:], way, out=out[..., 2:])
    way = cost_before[..., 1:] + cost[..., 1:]
    way += before[..., :-1]
    way += penalty
    np.less(way, out[..., 1:], out=fast[..., 1:])
    np.minimum(out[..., 1:], way, out=out[..., 1:])
    return out, slow, fast


def _traced(steps: np.ndarray, end: np.ndarray) -> np.ndarray:
    """(f, m) positions within each stretch, from the steps (m, f, n) that were taken, back from its end."""
    m, count = steps.shape[:2]
    rows, at, passed = np.arange(count), end.copy(), np.zeros(count, bool)
    out = np.empty((count, m))
    for i in range(m - 1, -1, -1):
        step = np.where(passed, 0, steps[i, rows, at])
        out[:, i] = at - 0.5 * (step == 1)
        at = np.maximum(at - np.array([1, 2, 0])[step], 0)
        passed = step == 2
    return out
