"""Sum-product and max-product over a forest of joints: exact marginals and the most likely combination."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from .grid import headings, wrapped
from .known import NEAR

Edges = Sequence[tuple[int, int]]
# ratio of the probabilities of two ways from which both are started from, and the least that the first must
# have within `NEAR`: it is a third where nothing is known; chosen; not tried
CLOSE, PEAKED = 0.5, 0.4


@dataclass(frozen=True, eq=False)
class Marginals:
    """What a forest comes to.

    Attributes
    ----------
    unit : (U, G) log probability of each unit's facing, each sums to one
    pair : (J, G, G) the same of parent and child together, per edge
    mode : (U,) index of the most likely combination of all
    """

    unit: np.ndarray
    pair: np.ndarray
    mode: np.ndarray


def marginals(edges: Edges, pair: np.ndarray, own: np.ndarray) -> Marginals:
    """Marginals of all units and edges.

    Parameters
    ----------
    edges : parent and child, roots first, as the model's joints come
    pair : (J, G, G) log-likelihood of parent's and child's facing, per edge
    own : (U, G) log-likelihood of each by itself

    Returns
    -------
    Marginals

    Notes
    -----
    Messages from the leaves to the roots and back: exact on a forest (Pearl 1988). The mode by the same with
    maxima for sums, and the way back by what each maximum was reached at (Viterbi).
    """
    up, inside = _upwards(edges, pair, own, lambda table: logsumexp(table, axis=1))
    outside = np.zeros_like(own)
    together = np.zeros_like(pair)
    for j, (p, c) in enumerate(edges):
        beside = inside[p] + outside[p] - up[j]
        outside[c] = logsumexp(pair[j] + beside[:, None], axis=0)
        outside[c] -= outside[c].max()
        table = pair[j] + beside[:, None] + inside[c][None]
        together[j] = table - logsumexp(table)
    whole = inside + outside
    return Marginals(whole - logsumexp(whole, axis=1, keepdims=True), together, _mode(edges, pair, own))


def runner_up(edges: Edges, pair: np.ndarray, own: np.ndarray, found: Marginals) -> np.ndarray | None:
    """Mode in which one unit faces another way, where that is nearly as likely as the likeliest.

    Parameters
    ----------
    edges, pair, own : as of `marginals`
    found : what they come to

    Returns
    -------
    (U,) index of the likeliest combination in which the most doubtful unit faces elsewhere, or None
    """
    p = np.exp(found.unit)
    units = np.arange(len(p))
    grid = headings(p.shape[1])
    near = np.abs(wrapped(grid - grid[found.mode][:, None])) <= NEAR
    ratio = np.where(near, 0.0, p).max(1) / p[units, found.mode]
    ratio[~np.isin(units, np.ravel(edges)) | ((p * near).sum(1) < PEAKED)] = 0.0
    unit = int(ratio.argmax())
    if ratio[unit] < CLOSE:
        return None
    elsewhere = own.copy()
    elsewhere[unit, near[unit]] = -np.inf
    return _mode(edges, pair, elsewhere)


def _upwards(edges: Edges, pair: np.ndarray, own: np.ndarray, collapse) -> tuple[np.ndarray, np.ndarray]:
    """(J, G) messages to parents, and (U, G) what each unit and all below it say."""
    up, inside = np.zeros((len(edges), own.shape[1])), own.copy()
    for j in reversed(range(len(edges))):
        p, c = edges[j]
        up[j] = collapse(pair[j] + inside[c][None])
        up[j] -= up[j].max()
        inside[p] = inside[p] + up[j]
    return up, inside


def _mode(edges: Edges, pair: np.ndarray, own: np.ndarray) -> np.ndarray:
    """(U,) most likely combination."""
    _, inside = _upwards(edges, pair, own, lambda table: table.max(1))
    mode = inside.argmax(1)
    for j, (p, c) in enumerate(edges):
        mode[c] = (pair[j][mode[p]] + inside[c]).argmax()
    return mode
