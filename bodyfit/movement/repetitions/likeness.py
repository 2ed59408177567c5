"""How alike found repetitions are: probability, size against the others, which stand out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .choice import Match
from .search import Movement, at_positions
from .warping import aligned

# Logistic in the distance, tried: on open sessions of reps_physio_5units, finds among its own
# repetitions against what the seven other exercises hold, weighted alike; not checked against marks in time
HALF, WIDTH = 0.42, 0.098
OUTLIER = 3.5  # modified z-score: Iglewicz & Hoaglin 1993, How to detect and handle outliers (from memory)
MAD_TO_SD = 1.4826  # of a normal distribution, by definition
# Smallest spread taken of each, so that very even sets do not call everything odd (by reasoning)
LEAST_SPREAD = {"distance": 0.03, "duration": 0.05, "amplitude": 0.05}
FEWEST_FOR_ODD = 5  # repetitions from which one can stand out (by reasoning)


def odds(score: np.ndarray) -> np.ndarray:
    """Odds that a match is the movement, from its distance.

    Parameters
    ----------
    score : (n,) distances

    Returns
    -------
    (n,)
    """
    return np.exp((HALF - np.asarray(score, float)) / WIDTH)


def probabilities(found: Sequence[Match], rivals: Sequence[Match]) -> np.ndarray:
    """Probability of each match against none and against every other movement that fits its stretch.

    Parameters
    ----------
    found : chosen matches
    rivals : all candidates, of every movement

    Returns
    -------
    (n,); the odds of the best match of each movement that overlaps by over half, over one plus their sum
    """
    spans = np.array([(m.first, m.last, m.movement, m.score) for m in rivals], float).reshape(-1, 4)
    out = np.empty(len(found))
    for i, match in enumerate(found):
        shared = np.minimum(spans[:, 1], match.last) - np.maximum(spans[:, 0], match.first)
        near = spans[shared > 0.5 * np.maximum(spans[:, 1] - spans[:, 0], match.length)]
        others = {k: near[near[:, 2] == k, 3].min() for k in set(near[:, 2]) - {match.movement}}
        own = odds(np.array([match.score]))[0]
        out[i] = own / (1.0 + own + odds(np.array(list(others.values()))).sum())
    return out


def alignments(movement: Movement, pieces: np.ndarray) -> np.ndarray:
    """Stream positions of every repetition at each sample of the movement's first template.

    Parameters
    ----------
    movement : channels and templates
    pieces : (f, 2) first samples and those after the last

    Returns
    -------
    (f, m) positions; each stretch is first brought evenly to the template's length, so any tempo aligns
    """
    template = movement.templates[0].values
    m = len(template)
    pieces = np.asarray(pieces, int).reshape(-1, 2)
    even = pieces[:, :1] + np.linspace(0, 1, m) * (pieces[:, 1:] - 1 - pieces[:, :1])
    flat = at_positions(movement.channels, even).reshape(len(pieces) * m, -1)
    bounds = m * np.arange(len(pieces))[:, None] + np.array([0, m])
    position, _ = aligned(flat, template, bounds)
    within = np.where(np.isfinite(position), position - bounds[:, :1], np.arange(m))
    scale = (pieces[:, 1:] - 1 - pieces[:, :1]) / (m - 1)
    return pieces[:, :1] + within * scale


def amplitudes(movement: Movement, position: np.ndarray) -> np.ndarray:
    """Size of every repetition: that of what it shares with the mean of all.

    Parameters
    ----------
    movement : channels
    position : (f, m), as `alignments` gives

    Returns
    -------
    (f,) ⟨x, y⟩ / ⟨y, y⟩ over samples and channels, y the mean of the aligned x
    """
    x = at_positions(movement.channels, position)
    x = x - x.mean(1, keepdims=True)
    y = x.mean(0)
    return np.einsum("fmc,mc->f", x, y) / max(float((y**2).sum()), 1e-12)


def standing_out(values: np.ndarray, kind: str) -> np.ndarray:
    """Which values lie far from the others.

    Parameters
    ----------
    values : (n,)
    kind : "distance" (only larger ones stand out), "duration" or "amplitude"

    Returns
    -------
    (n,) bool; none of fewer than five
    """
    if len(values) < FEWEST_FOR_ODD:
        return np.zeros(len(values), bool)
    off = values - np.median(values)
    sd = max(MAD_TO_SD * float(np.median(np.abs(off))), LEAST_SPREAD[kind])
    return (off if kind == "distance" else np.abs(off)) > OUTLIER * sd
